from __future__ import annotations

from typing import get_args

import pytest

from underdash.buttons.motion import ON_THE_MOVE, SIGNALS, STANDING, held_back, moving
from underdash.contract.buttons import (
    Acknowledge,
    Action,
    GoQuiet,
    Mark,
    Refresh,
    ResetPeak,
    SetChoice,
    ShowPage,
    ShowRate,
    TurnPage,
)
from underdash.contract.signals import Age, Value
from underdash.testing import snapshot

DRIVING = snapshot({"vehicle.speed": 50.0})
STANDS = snapshot({"vehicle.speed": 0.0, "engine.speed": 800.0})
DONE = (TurnPage(), TurnPage(-1), ShowPage("boost"), ResetPeak(), Acknowledge(), Mark("here"), Refresh("x"), GoQuiet())
HELD = (SetChoice("dashboard.night", True), ShowRate(), GoQuiet(False))


def test_every_kind_of_action_is_classified() -> None:
    assert set(ON_THE_MOVE) == set(get_args(Action))
    assert {type(action) for action in (*DONE, *HELD)} == set(get_args(Action))


@pytest.mark.parametrize("action", DONE, ids=repr)
def test_what_takes_one_glance_is_done_while_the_car_moves(action: Action) -> None:
    assert held_back(action, DRIVING) == ""
    assert held_back(action, STANDS) == ""


@pytest.mark.parametrize("action", HELD, ids=repr)
def test_what_sets_something_up_waits_until_the_car_stands(action: Action) -> None:
    assert held_back(action, DRIVING) == STANDING
    assert held_back(action, STANDS) == ""


@pytest.mark.parametrize(
    ("values", "moves"),
    [
        ({"vehicle.speed": 6.0}, False),
        ({"vehicle.speed": 6.1}, True),
        ({"vehicle.speed": 0.0, "engine.speed": 3000.0, "vehicle.ignition": "ON"}, False),
        ({"engine.speed": 800.0}, True),
        ({"engine.speed": 0.0, "vehicle.ignition": "ON"}, False),
        ({"engine.running": True}, True),
        ({"engine.running": False}, False),
        ({"engine.speed": 0.0, "powertrain.ready": True}, True),
        ({"powertrain.ready": False, "vehicle.ignition": "ON"}, False),
        ({"vehicle.ignition": "ON"}, True),
        ({"vehicle.ignition": "START"}, True),
        ({"vehicle.ignition": "ACC"}, False),
        ({}, False),
    ],
    ids=repr,
)
def test_the_car_moves_above_walking_pace_or_may_with_the_engine_running(values: dict[str, Value], moves: bool) -> None:
    assert moving(snapshot(values)) is moves
    assert set(values) <= set(SIGNALS)


def test_a_speed_that_is_gone_is_no_speed() -> None:
    seen = {"vehicle.speed": 0.0, "engine.speed": 800.0}
    assert moving(snapshot(seen, ages={"vehicle.speed": Age.GONE}))
    assert not moving(snapshot(seen, ages={"vehicle.speed": Age.LATE}))
