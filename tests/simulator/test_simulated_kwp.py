from __future__ import annotations

from typing import Any

import pytest

from underdash.contract.cars import CarDescription


def test_a_local_identifier_gives_its_block(talkative: CarDescription, unit: Any) -> None:
    battery = unit(talkative, "battery")
    assert battery.said("02 21 02") == ["03 61 02 23"]
    assert battery.told("21 01") == bytes.fromhex("61 01 07E0") + bytes(9) + b"\x5b"


def test_who_the_unit_is_comes_as_text(talkative: CarDescription, unit: Any) -> None:
    assert unit(talkative, "battery").told("1A 87") == b"\x5a\x87UNDERDASHTARN0001"


@pytest.mark.parametrize("request_bytes", ["02 21 99", "03 21 01 02", "01 21", "02 1A 01"])
def test_another_one_or_more_than_one_is_a_kind_it_has_not(
    talkative: CarDescription, unit: Any, request_bytes: str
) -> None:
    service = request_bytes[3:5].lower()
    assert unit(talkative, "battery").said(request_bytes) == [f"03 7f {service} 12"]
