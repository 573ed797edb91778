"""A description read anew at every odd moment: what an owner expects then, and that it is so."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from underdash.bus.trace import TraceWriter, read_trace
from underdash.contract.cars import CarDescription
from underdash.contract.errors import UnderdashError
from underdash.contract.layout import Field
from underdash.simulator.driver import Phase, Press, Script
from underdash.wiring import reloading
from underdash.wiring.recorder import Recorder
from underdash.wiring.trying import PAGE

from .conftest import SHORT
from .test_reloading import AT_S, changed, reload_at
from .test_trying import KEY, Talk, trying

Make = Callable[..., Any]
PRESSED_S, HELD_S = 5.0, 1.2


def parked(for_s: float) -> Script:
    """Have the driver leave the car for so long, and switch it on again."""
    asleep = Phase("asleep", for_s, "LOCK", awake=False)
    return (Phase("on", 6, "ON"), Phase("off", 5, "OFF"), asleep, Phase("on again", 6, "ON"))


def supplied(by: str) -> Callable[[str], str]:
    """Have the accessory fed in another way, and be quick about it."""
    return lambda text: text.replace('supply = "switched"', f'supply = "{by}"\nlinger_s = 5.0\ngoodbye_s = 2.0')


def holding(button: str) -> Script:
    """Have the driver hold a button for a moment, the ignition being on."""
    press = Press(button, PRESSED_S - 2.0, HELD_S)
    return tuple(replace(one, presses=(press,)) if one.what == "engine at rest" else one for one in SHORT)


def test_a_recording_lacks_no_frame(drive: Make, tmp_path: Path) -> None:
    journey = drive()
    with (tmp_path / "drive.log").open("wb") as file:
        recorder = Recorder(TraceWriter(file), journey.demo.daemon.links)
        reload_at(journey)
        journey.at(AT_S + 1.0, recorder.detach)
        journey.run(AT_S + 2.0)
        recorder.close()
    recorded = defaultdict(list)
    for role, frame in read_trace(tmp_path / "drive.log"):
        recorded[role].append((frame.id, frame.data))
    assert len(recorded["drive"]) > 1000
    for role, frames in recorded.items():
        assert frames == [(one.id, one.data) for _, one in journey.wire[role][: len(frames)]]
        assert journey.wire[role][len(frames)][0] >= AT_S + 0.99


@pytest.mark.parametrize("reloads", [False, True])
def test_a_button_that_is_held_meanwhile_does_what_it_does_once(drive: Make, reloads: bool) -> None:
    journey = drive(script=holding("up"))
    daemon = journey.demo.daemon
    if reloads:
        reload_at(journey, PRESSED_S + HELD_S / 2)
    journey.run(8.0)
    assert (daemon.fingers.performed, daemon.screens[0].deck.current.name) == (1, "temperatures")


def test_a_button_that_comes_from_elsewhere_by_then_has_to_be_released_first(
    drive: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    def moved(car: CarDescription) -> CarDescription:
        return replace(car, broadcasts=tuple(replace(one, fields=swapped(one.fields)) for one in car.broadcasts))

    def swapped(fields: tuple[Field, ...]) -> tuple[Field, ...]:
        other = {"button.up": "button.down", "button.down": "button.up"}
        return tuple(replace(one, signal=other.get(one.signal, one.signal)) for one in fields)

    journey = drive(script=holding("up"))
    daemon = journey.demo.daemon
    changed(monkeypatch, moved)
    reload_at(journey, PRESSED_S + HELD_S / 2)
    journey.run(8.0)
    assert (daemon.fingers.performed, daemon.screens[0].deck.current.name) == (0, "boost")


@pytest.mark.parametrize(
    ("supply", "for_s", "states"),
    [("wakeable", 12.0, ["awake", "lingering", "asleep", "awake"]), ("held", 52.0, ["awake", "lingering", "halting"])],
)
def test_power_goes_its_way(drive: Make, supply: str, for_s: float, states: list[str]) -> None:
    """Awake, going to sleep, asleep, while it wakes up, and while the machine goes off."""
    ways = []
    for times in (0, 40):
        journey = drive(parked(for_s), supplied(supply))
        told = [reload_at(journey, (number + 0.5) * (17.0 + for_s) / times) for number in range(times)]
        journey.run()
        assert not any(told)
        assert journey.requests(6.2, 11.0 + for_s) == []
        ways.append(journey.demo.power)
    assert [[state for _, state in way] for way in ways] == [states, states]
    assert [at for at, _ in ways[1]] == pytest.approx([at for at, _ in ways[0]], abs=0.3)


def test_a_suspended_plug_in_is_left_alone(drive: Make) -> None:
    journey = drive()
    daemon = journey.demo.daemon
    journey.at(AT_S - 1.0, lambda: daemon.assembly.suspensions.add("temperatures", "it was too slow"))
    told = reload_at(journey)
    told += reload_at(journey, AT_S + 0.5)
    journey.run(AT_S + 1.0)
    assert told == []
    refused = {one.name: one.reason for one in daemon.assembly.loaded.refused}
    assert refused == {"temperatures": "it was too slow"}
    assert [page.name for page in daemon.assembly.pages] == ["boost"]
    assert daemon.screens[0].deck.names == ["boost"]


def test_where_the_suspended_plug_in_brings_the_car_all_goes_on_as_before(drive: Make) -> None:
    journey = drive()
    daemon = journey.demo.daemon
    journey.at(AT_S - 1.0, lambda: daemon.assembly.suspensions.add("tarn", "it was too slow"))
    told = reload_at(journey)
    journey.run(AT_S + 1.0)
    [sentence] = told
    assert "car 'tarn' is not known" in sentence
    assert "tarn: it was too slow; it runs again after a restart" in sentence
    assert journey.requests(AT_S + 0.1) != []


def test_what_is_tried_is_watched_on_after_a_description_with_mistakes(
    drive: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(config: object, loaded: object) -> object:
        raise UnderdashError("it has mistakes")

    journey = drive()
    desk, talk = trying(journey), Talk(KEY)
    journey.at(5.0, lambda: desk.handlers["try"](talk))  # type: ignore[arg-type]
    journey.at(6.0, lambda: monkeypatch.setattr(reloading, "described", broken))
    journey.at(6.1, desk.reload)
    journey.run(12.0)
    assert talk.changes == ["on", "starter", "on"]
    assert journey.demo.daemon.screens[0].deck.current.name == PAGE
