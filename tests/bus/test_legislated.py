from __future__ import annotations

import pytest

from underdash.bus import legislated


@pytest.mark.parametrize("number", range(8))
def test_the_legislated_ids_go_in_pairs(number: int) -> None:
    assert legislated.request_id_of(0x7E8 + number) == 0x7E0 + number


@pytest.mark.parametrize("response_id", [0x7E7, 0x7F0, 0x612, 0x000])
def test_other_short_ids_do_not_tell_where_flow_control_goes(response_id: int) -> None:
    assert legislated.request_id_of(response_id) is None


def test_flow_control_of_a_long_id_goes_back_with_the_addresses_swapped() -> None:
    assert legislated.request_id_of(0x18DAF110, wide=True) == 0x18DA10F1
    assert legislated.request_id_of(0x14DAF110, wide=True) == 0x14DA10F1  # another priority
    assert legislated.request_id_of(0x18CEF110, wide=True) == 0x18CE10F1
    assert legislated.request_id_of(0x18FEF110, wide=True) is None
    assert legislated.request_id_of(0x000007E8, wide=True) is None
