from __future__ import annotations

from random import Random
from typing import Any

import pytest

from underdash.contract.cars import CarDescription
from underdash.contract.layout import Bits, Field
from underdash.simulator.hybrid_car import HybridDesign
from underdash.simulator.models import ModelMaker
from underdash.simulator.service_09 import Service09
from underdash.simulator.turbo_car import TurboDesign


def test_the_identification_of_the_car_comes_with_the_number_of_items_in_front(
    description: CarDescription, unit: Any
) -> None:
    engine = unit(description, "engine")
    assert engine.told("09 02") == b"\x49\x02\x01UNDERDASHTARN0001"
    assert engine.said("02 09 02 00 00 00 00 00") == ["10 14 49 02 01 55 4e 44"]


def test_a_mask_says_which_information_there_is(description: CarDescription, unit: Any) -> None:
    assert unit(description, "engine").said("02 09 00") == ["06 49 00 40 00 00 00"]


def test_what_it_does_not_have_is_refused(description: CarDescription, unit: Any) -> None:
    engine = unit(description, "engine")
    assert engine.said("02 09 04") == ["03 7f 09 31"]
    assert engine.said("03 09 02 04") == ["03 7f 09 13"]
    assert engine.said("01 09") == ["03 7f 09 13"]


def test_a_short_identification_is_filled_up_in_front() -> None:
    assert Service09({}).reply(b"\x02", {"vehicle.identification": "SHORT"}) == b"\x02\x01" + bytes(12) + b"SHORT"


def test_a_description_may_add_information() -> None:
    more = Service09({0x08: (Field("engine.faults", Bits(1, 16)),)})
    assert more.reply(b"\x08", {"engine.faults": 258.0}) == bytes.fromhex("08 01 01 02")
    assert more.reply(b"\x00", {}) == bytes.fromhex("00 01 00 00 00")


@pytest.mark.parametrize("design", [TurboDesign(), HybridDesign()], ids=["tarn", "loris"])
def test_the_invented_cars_have_an_identification_as_long_as_a_real_one(design: ModelMaker) -> None:
    found = str(design.model(Random(1)).values()["vehicle.identification"])
    assert len(found) == 17
    assert found.isalnum()
