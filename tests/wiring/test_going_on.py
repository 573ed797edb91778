"""What an owner sees of a description that is read anew on the road: nothing, but what was changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from underdash.contract.cars import CarDescription

from .test_reloading import AT_S, changed, reload_at

Make = Callable[..., Any]
BOOST = "engine.boost_pressure"
QUIET_S = 14.03
"""No unit is about to answer then."""


def looks(journey: Any, *at: float) -> list[Any]:
    """Look at everything at these moments, right then and not with the next tick."""
    seen: list[Any] = []
    for moment in at:
        journey.at(moment, lambda: seen.append(journey.demo.daemon.snapshot(journey.loop.time())))
    return seen


def rescaled(signal: str) -> Callable[[CarDescription], CarDescription]:
    """Have a signal of requests read with twice its scale."""

    def change(car: CarDescription) -> CarDescription:
        polls = [
            replace(one, fields=tuple(replace(f, scale=2 * f.scale) if f.signal == signal else f for f in one.fields))
            for one in car.polls
        ]
        return replace(car, polls=tuple(polls))

    return change


def test_no_value_is_gone_for_a_moment(drive: Make) -> None:
    journey = drive()
    seen = looks(journey, AT_S - 0.001, AT_S + 0.001)
    told = reload_at(journey)
    journey.run(AT_S + 0.1)
    before, after = ({name: one.value for name, one in each.readings.items()} for each in seen)
    known = {name for name, value in before.items() if value is not None}
    assert told == []
    assert {BOOST, "engine.speed", "vehicle.ignition", "ambient.pressure"} <= known
    assert {name for name in known if after[name] is None} == set()


def test_what_was_measured_at_rest_is_known_on(drive: Make) -> None:
    ages = []
    for reloads in (False, True):
        journey = drive()
        if reloads:
            reload_at(journey)
        seen = looks(journey, AT_S + 0.5)
        journey.run(AT_S + 1.0)
        reading = seen[0].reading("ambient.pressure")
        ages.append((reading.value, reading.quality))
    assert ages[0] == ages[1]


def test_what_is_read_with_another_scale_is_not_shown_with_the_old_one_and_its_highest_value_goes(
    drive: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    journey = drive()
    changed(monkeypatch, rescaled("engine.charge_pressure"))
    seen = looks(journey, QUIET_S - 0.001, QUIET_S + 0.001)
    reload_at(journey, QUIET_S)
    journey.run(AT_S + 0.1)
    before, after = seen
    assert before.reading("engine.charge_pressure").value is not None
    assert after.reading("engine.charge_pressure").value is None
    assert after.reading("engine.speed").value is not None
    assert (before.stored_peaks.keys(), after.stored_peaks) == ({"boost.known_pressure"}, {})


def test_a_page_that_lacks_a_signal_from_now_on_stays_on_show_with_dashes(
    drive: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    def without(car: CarDescription) -> CarDescription:
        return replace(car, polls=())

    journey = drive()
    daemon, shown = journey.demo.daemon, []
    changed(monkeypatch, without)
    told = reload_at(journey)
    journey.at(AT_S + 2.0, lambda: shown.append((daemon.screens[0].deck.current.name, daemon.screens[0].faults)))
    seen = looks(journey, AT_S + 0.001)
    journey.run(AT_S + 2.5)
    assert (told, shown) == ([], [("boost", [])])
    assert seen[0].reading(BOOST).value is None
    assert journey.requests(AT_S + 0.001) == []
    assert daemon.telling.why("engine.charge_pressure", journey.loop.time()).table()


def test_no_answer_is_lost_and_nobody_is_asked_more_however_often_it_is_read_anew(drive: Make) -> None:
    missed, asked = [], []
    for times in (0, 120):
        journey = drive()
        daemon = journey.demo.daemon
        journey.at(11.0, lambda daemon=daemon: daemon.screens[0].show("temperatures"))
        told = [reload_at(journey, 12.0 + number * 0.0131) for number in range(times)]
        journey.run(16.0)
        assert not any(told)
        missed.append((daemon.assembly.asking.counts.missed, daemon.assembly.asking.dropped))
        asked.append(len(journey.requests(11.5, 16.0)))
    assert missed[0] == missed[1]
    assert asked[1] == pytest.approx(asked[0], abs=2)
    assert asked[0] > 10
