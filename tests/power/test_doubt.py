"""A wire of the ignition is doubted only where what the buses do leaves no other way."""

from __future__ import annotations

import pytest

from underdash.power.doubt import BELIEVED_S, SILENT_S, TURNS_S, Doubt
from underdash.power.ignition import Position

KEY = "input key on low GPIO17"
ON, OFF = {KEY: Position.ON}, {KEY: Position.OFF}


def test_a_wire_at_on_in_a_car_that_sleeps_is_doubted_after_ten_minutes() -> None:
    doubt = Doubt()
    assert doubt.look(ON, 3.0, None, 0.0) == {}
    assert doubt.look(ON, SILENT_S - 1.0, None, SILENT_S - 1.0) == {}
    assert doubt.look(ON, 720.0, None, 720.0)[KEY].startswith(
        "input key on low GPIO17 says ON, and no bus has been heard for 12 minutes: perhaps it is the wrong way about"
    )
    assert doubt.look(ON, 0.1, None, 721.0) == {}


def test_a_key_that_was_turned_on_in_a_sleeping_car_has_its_ten_minutes_too() -> None:
    doubt = Doubt()
    assert doubt.look(OFF, 5000.0, None, 0.0) == {}
    assert doubt.look(ON, 5001.0, None, 1.0) == {}
    assert doubt.look(ON, 5600.0, None, 600.0) == {}
    assert list(doubt.look(ON, 5602.0, None, 602.0)) == [KEY]


def test_where_a_bus_is_not_open_or_was_never_heard_nothing_is_doubted() -> None:
    doubt = Doubt()
    assert [doubt.look(ON, None, None, at) for at in (0.0, 5000.0)] == [{}, {}]


def test_a_wire_at_off_while_the_engine_turns_is_doubted_after_ten_seconds() -> None:
    doubt = Doubt()
    assert doubt.look(OFF, 0.0, 850.0, 0.0) == {}
    assert doubt.look(OFF, 0.0, 850.0, TURNS_S)[KEY].startswith(
        "input key on low GPIO17 says OFF while the engine turns at 850 rpm: perhaps it is the wrong way about, or"
    )
    assert doubt.look(ON, 0.0, 850.0, TURNS_S + 1.0) == {}


@pytest.mark.parametrize("rpm", [None, 0.0, 250.0])
def test_an_engine_that_rests_or_is_not_known_speaks_against_no_wire(rpm: float | None) -> None:
    doubt = Doubt()
    assert [doubt.look(OFF, 0.0, rpm, at) for at in (0.0, 60.0)] == [{}, {}]


def test_an_engine_that_stalled_meanwhile_begins_anew() -> None:
    doubt = Doubt()
    for at, rpm in ((0.0, 800.0), (5.0, 0.0), (6.0, 800.0)):
        doubt.look(OFF, 0.0, rpm, at)
    assert doubt.look(OFF, 0.0, 800.0, 11.0) == {}
    assert list(doubt.look(OFF, 0.0, 800.0, 16.0)) == [KEY]


def test_after_an_hour_of_silence_a_wire_at_on_is_not_believed_any_more_until_a_bus_talks() -> None:
    doubt = Doubt()
    told, unbelieved = {}, []
    for at, silent_s in ((0.0, 0.0), (BELIEVED_S - 1, BELIEVED_S - 1), (BELIEVED_S, BELIEVED_S), (BELIEVED_S + 1, 0.1)):
        told[at] = doubt.look(ON, silent_s, None, at).get(KEY, "")
        unbelieved.append(doubt.unbelieved)
    assert unbelieved == [False, False, True, False]
    assert "drains the battery" not in told[BELIEVED_S - 1]
    assert "for 60 minutes; it no longer keeps a supply up that drains the battery: " in told[BELIEVED_S]


def test_of_two_wires_at_on_one_that_was_turned_on_lately_is_believed() -> None:
    doubt = Doubt()
    doubt.look(ON, 0.0, None, 0.0)
    doubt.look({**ON, "input other": Position.ON}, BELIEVED_S, None, BELIEVED_S)
    assert not doubt.unbelieved
