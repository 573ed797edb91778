from __future__ import annotations

from collections import Counter
from random import Random

from underdash.broadcast.encoder import encode
from underdash.contract.cars import CarDescription
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.signals import Value
from underdash.simulator.traffic import Described, described, undescribed


def test_frames_are_spelt_as_the_encoder_does(description: CarDescription) -> None:
    for source in described(description):
        for count in range(40):
            values: dict[str, Value] = {
                "engine.speed": 700.0 + 13.7 * (count // 3),
                "vehicle.speed": 0.37 * count,
                "vehicle.ignition": ("ON", "START")[count // 20],
                "button.menu": count % 7 == 0,
            }
            size = 4 if source.id == 0x201 else None
            assert source.data(values) == encode(source.listener, values, count, size=size)


def test_a_field_in_another_unit_is_spelt_in_that_unit() -> None:
    listener = BroadcastListener("drive", 0x77, (Field("engine.oil_temperature", Bits(0), unit="degF"),))
    assert Described(listener).data({"engine.oil_temperature": 100.0}) == bytes((212,))


def test_values_that_stay_are_not_spelt_again(description: CarDescription) -> None:
    source = next(each for each in described(description) if each.id == 0x102)
    first: dict[str, Value] = {"vehicle.speed": 50.0}
    assert source.changed(first)
    assert not source.changed(first)
    assert not source.changed(dict(first))
    assert source.changed({"vehicle.speed": 51.0})
    source.forget()
    assert source.changed({"vehicle.speed": 51.0})


def test_some_unexplained_frames_move_and_some_stand_still(description: CarDescription) -> None:
    sources = undescribed(description, Random(1))
    moving = Counter(len({source.data({}) for _ in range(100)}) > 1 for source in sources)
    assert moving[True] > 2
    assert moving[False] > 0
    assert all(len(source.data({})) <= 8 for source in sources)


def test_unexplained_frames_have_ids_as_long_as_the_cars_own(description: CarDescription) -> None:
    assert not any(source.extended for source in undescribed(description, Random(1)))
