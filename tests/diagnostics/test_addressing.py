from __future__ import annotations

import pytest

from underdash.contract.errors import UnderdashError
from underdash.contract.requests import ControlUnit
from underdash.diagnostics import addressing
from underdash.diagnostics.addressing import Address


def test_a_described_unit_has_its_ids_and_its_address_byte_both_ways() -> None:
    unit = ControlUnit("seat", "comfort", 0x6E0, 0x6E1, address=0x5C)
    assert addressing.of_unit(unit) == Address(0x6E0, 0x6E1, False, 0x5C, 0x5C)
    assert addressing.of_unit(unit).room == 6
    assert addressing.of_unit(ControlUnit("engine", "drive", 0x7E0, 0x7E8)).room == 7


def test_fixed_ids_follow_from_the_addresses() -> None:
    # ISO 15765-4: engine 10 and tester F1
    assert addressing.normal_fixed(0x10) == Address(0x18DA10F1, 0x18DAF110, True)
    assert addressing.normal_fixed(0x10, tester=0xFA) == Address(0x18DA10FA, 0x18DAFA10, True)
    assert addressing.mixed_fixed(0x10, 0x99) == Address(0x18CE10F1, 0x18CEF110, True, 0x99, 0x99)


def test_extended_addressing_names_in_each_direction_whom_the_frame_is_for() -> None:
    found = addressing.extended(0x6F1, 0x612, unit=0x12)
    assert found == Address(0x6F1, 0x612, False, request_prefix=0x12, response_prefix=0xF1)
    assert addressing.extended(0x18000012, 0x18000013, 0x12, wide=True).extended


def test_mixed_addressing_has_one_extension_both_ways() -> None:
    assert addressing.mixed(0x6E0, 0x6E1, 0x5C) == Address(0x6E0, 0x6E1, False, 0x5C, 0x5C)


@pytest.mark.parametrize("address", [-1, 0x100])
def test_an_address_is_one_byte(address: int) -> None:
    with pytest.raises(UnderdashError, match="one byte"):
        addressing.normal_fixed(address)
    with pytest.raises(UnderdashError, match="one byte"):
        addressing.mixed(0x6E0, 0x6E1, address)
    with pytest.raises(UnderdashError, match="one byte"):
        addressing.mixed_fixed(0x10, address)
    with pytest.raises(UnderdashError, match="one byte"):
        addressing.extended(0x6F1, 0x612, address)
