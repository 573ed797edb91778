"""Whether the car stands enough to be asked by hand."""

from __future__ import annotations

import pytest

from underdash.contract.signals import Value
from underdash.testing import snapshot
from underdash.wiring.stands import may_move


@pytest.mark.parametrize(
    ("known", "says", "vouched_says"),
    [
        ({"vehicle.speed": 0.0, "engine.speed": 800.0}, "", ""),
        ({"vehicle.speed": 6.0}, "", ""),
        ({"vehicle.speed": 30.0}, "the car moves (30 km/h)", "the car moves (30 km/h)"),
        ({"engine.speed": 0.0}, "", ""),
        ({"engine.speed": 800.0}, "the engine runs and vehicle.speed is not known", ""),
        ({"engine.speed": 0.0, "powertrain.ready": True}, "the engine runs and vehicle.speed is not known", ""),
        ({}, "neither vehicle.speed nor the engine is known", ""),
        ({"vehicle.ignition": "ON"}, "neither vehicle.speed nor the engine is known", ""),
    ],
)
def test_what_tells_that_the_car_stands_and_when_a_persons_word_does(
    known: dict[str, Value], says: str, vouched_says: str
) -> None:
    for vouched, wanted in ((False, says), (True, vouched_says)):
        found = may_move(snapshot(known), vouched=vouched)
        assert found.startswith(wanted)
        assert bool(found) is bool(wanted)
    assert not says.startswith("neither") or "--attended" in may_move(snapshot(known), vouched=False)
