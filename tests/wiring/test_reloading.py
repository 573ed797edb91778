"""A description that changes while the daemon drives."""

from __future__ import annotations

import gc
import threading
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from underdash.bus.frames import Frame
from underdash.bus.port import QuietEvents
from underdash.bus.table import Table
from underdash.config.mistakes import ConfigError
from underdash.config.reading import parse_config
from underdash.contract.buttons import SetChoice
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.errors import UnderdashError
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.pages import Page
from underdash.contract.signals import Signal
from underdash.display.deck import UnknownPageError
from underdash.loading import Loaded, load
from underdash.wiring import reloading
from underdash.wiring.assembly import Assembly
from underdash.wiring.building import described
from underdash.wiring.reloading import NOTHING, Beside, Reloading

Make = Callable[..., Any]
KEY_FRAME = 0x0C4A1020
RAW = Signal("car.raw_key", "", "what the key's frame begins with")
BESIDE: Beside = ((RAW,), (BroadcastListener("comfort", KEY_FRAME, (Field("car.raw_key", Bits(0, 3, 2)),), True),), ())
AT_S = 14.0
"""In `SHORT` the engine idles by then."""


def changed(monkeypatch: pytest.MonkeyPatch, change: Callable[[CarDescription], CarDescription]) -> None:
    """Have the description's file say something else from now on."""

    def read(config: Any, loaded: Loaded) -> tuple[CarDescription, Loaded]:
        car, loaded = described(config, loaded)
        return change(car), loaded

    monkeypatch.setattr(reloading, "described", read)


def reload_at(journey: Any, at: float = AT_S, beside: Beside = NOTHING) -> list[str]:
    told: list[str] = []

    def do() -> None:
        try:
            Reloading(journey.demo.built, journey.loop).reload(beside)
        except UnderdashError as exc:
            told.append(str(exc))

    journey.at(at, do)
    return told


def test_buses_panels_and_requests_go_on_and_what_is_new_is_read(drive: Make) -> None:
    journey = drive()
    told = reload_at(journey, beside=BESIDE)
    before: dict[str, Any] = {}
    daemon = journey.demo.daemon

    def look() -> None:
        before.update(ports=[link._port for link in daemon.links.values()], screens=[*daemon.screens])
        before.update(asked=daemon.assembly.asking, guard=daemon.sending.guard)

    def look_again() -> None:
        assert [link._port for link in daemon.links.values()] == before["ports"]
        assert daemon.screens == before["screens"]
        assert daemon.sending.guard is before["guard"]
        assert daemon.assembly.asking is not before["asked"]
        assert {status.state.value for status in daemon.buses} <= {"listening", "sending"}
        before["looked"] = True

    journey.at(AT_S - 0.1, look)
    journey.at(AT_S + 0.5, look_again)
    journey.run(18.0)
    assert (told, before.pop("looked")) == ([], True)
    assert set(journey.values("car.raw_key", AT_S + 0.5, 17.0)) == {3.0}
    times = [at for at, _ in journey.requests(AT_S - 2.0, AT_S + 2.0)]
    assert max(b - a for a, b in pairwise(times)) < 0.5, "asking stopped for a while"
    assert None not in journey.values("engine.boost_pressure", AT_S + 1.0, 17.0)


def test_the_same_evidence_of_the_ignition_counts_on(drive: Make) -> None:
    journey = drive()
    reload_at(journey)
    states: list[Any] = []
    journey.at(AT_S + 0.001, lambda: states.append(journey.demo.daemon.key.state.position.value))
    journey.run(15.0)
    assert states == ["on"]


def test_an_ignition_field_that_was_moved_has_to_be_seen_on_and_off_anew(
    drive: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    def moved(car: CarDescription) -> CarDescription:
        return replace(car, ignition=tuple(replace(one, lifetime_s=1.5) for one in car.ignition))

    changed(monkeypatch, moved)
    journey = drive()
    told = reload_at(journey)
    journey.run(18.0)
    assert told == []
    assert journey.requests(AT_S - 1.0, AT_S) != []
    assert journey.requests(AT_S + 0.05, 18.0) == []
    assert any("not been seen both on and off" in text for text in journey.demo.daemon.status().closed)


def test_mistakes_leave_everything_as_it_was(drive: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(config: Any, loaded: Loaded) -> Any:
        raise ConfigError([])

    journey = drive()
    monkeypatch.setattr(reloading, "described", broken)
    assembly = journey.demo.built.assembly
    told = reload_at(journey)
    journey.run(16.0)
    assert len(told) == 1
    assert journey.demo.built.assembly is assembly
    assert journey.demo.daemon.assembly is assembly
    assert journey.requests(15.0, 16.0) != []


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda car: replace(car, name="other"), "of another car, other, by now; restart the daemon"),
        (
            lambda car: replace(car, buses=(*car.buses, BusDescription("body", 50_000))),
            "other buses than before; restart the daemon",
        ),
    ],
)
def test_another_car_or_other_buses_need_a_restart(
    drive: Make,
    monkeypatch: pytest.MonkeyPatch,
    change: Callable[[CarDescription], CarDescription],
    says: str,
) -> None:
    changed(monkeypatch, change)
    journey = drive()
    told = reload_at(journey)
    journey.run(16.0)
    assert len(told) == 1
    assert says in told[0]
    assert journey.requests(15.0, 16.0) != []


def test_what_a_unit_taught_and_the_highest_values_are_kept(drive: Make) -> None:
    journey = drive()
    kept: list[Any] = []

    def look() -> None:
        assembly = journey.demo.daemon.assembly
        kept.append((dict(assembly.memory.peaks()), assembly.asking.learned()))

    journey.at(AT_S - 0.001, look)
    reload_at(journey)
    journey.at(AT_S + 0.001, look)
    journey.run(15.0)
    assert kept[0] == kept[1]
    assert any(value is not None for value in kept[0][0].values())


def test_another_tester_is_remembered(drive: Make) -> None:
    journey = drive()
    tester = journey.buses["drive"].port()
    unit = journey.demo.built.assembly.car.units[0]
    request = Frame(unit.request_id, bytes(8), unit.extended)

    def ask() -> None:
        tester.open(journey.loop, Table(), QuietEvents())
        tester.send(request)

    journey.at(AT_S - 1.0, ask)
    reload_at(journey)
    journey.run(18.0)
    own = [frame for at, frame in journey.requests(AT_S - 0.9, 18.0) if frame.id == unit.request_id]
    assert own == []


def test_a_page_for_a_while_is_shown_by_its_name_and_goes_again(drive: Make) -> None:
    journey = drive()
    page = Page("trial", "Trial", lambda canvas, snapshot: canvas.title("trial"), ("car.raw_key",))
    shown: list[str] = []

    def screen_of() -> Any:
        return journey.demo.daemon.screens[0]

    journey.at(AT_S - 0.1, lambda: screen_of().show("temperatures"))
    reload_at(journey, AT_S, (*BESIDE[:2], (page,)))
    journey.at(AT_S + 0.05, lambda: shown.append(screen_of().deck.current.name))
    journey.at(AT_S + 0.1, lambda: screen_of().show("trial"))
    journey.at(AT_S + 0.2, lambda: shown.append(screen_of().deck.current.name))
    reload_at(journey, AT_S + 1.0)
    journey.at(AT_S + 1.1, lambda: shown.append(screen_of().deck.current.name))
    journey.run(16.0)
    assert shown == ["temperatures", "trial", "temperatures"]
    assert "car.raw_key" not in journey.demo.daemon.assembly.catalogue


def test_a_description_on_the_disk_is_read_again(tmp_path: Path) -> None:
    car = tmp_path / "mine.toml"
    car.write_text('format = 1\nname = "mine"\ntitle = "M"\ncounting = "from 0"\n[bus.drive]\nbitrate = 500_000\n')
    config = parse_config(
        f'format = 1\n[car]\nname = "{car}"\n[power]\nsupply = "switched"\n', str(tmp_path / "u.toml")
    )
    assert described(config, load({}, source=config.source))[0].title == "M"
    car.write_text(car.read_text().replace('"M"', '"N"'))
    assert described(config, load({}, source=config.source))[0].title == "N"


def test_what_the_driver_chose_stays_chosen(drive: Make) -> None:
    journey = drive()
    daemon = journey.demo.daemon
    journey.at(AT_S - 1.0, lambda: daemon.perform(SetChoice("dashboard.night", True)))
    reload_at(journey)
    chosen: list[Any] = []
    journey.at(AT_S + 0.01, lambda: chosen.extend(daemon.assembly.store.slots("dashboard.night")))
    journey.run(15.0)
    assert [slot.value for slot in chosen if slot.source == "chosen"] == [True]


def test_when_the_knob_counts_is_taken_up(drive: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    changed(monkeypatch, lambda car: replace(car, knob_applies="always"))
    journey = drive()
    before = journey.demo.daemon.screens
    reload_at(journey)
    journey.run(15.0)
    assert [screen._dimming._options.knob_applies for screen in before] == ["always"] * len(before) != []


def test_a_page_that_is_gone_leaves_everything_as_it_was(drive: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*arguments: Any) -> Any:
        raise UnknownPageError("there is no page")

    journey = drive()
    monkeypatch.setattr(reloading, "deck_of", gone)
    assembly, guard = journey.demo.built.assembly, journey.demo.daemon.sending.guard
    templates = guard._declared
    told = reload_at(journey)
    journey.run(16.0)
    assert told == ["there is no page"]
    assert journey.demo.daemon.assembly is assembly
    assert guard._declared is templates
    assert journey.requests(15.0, 16.0) != []


def test_a_bus_that_takes_no_frame_is_not_tried_sooner(drive: Make) -> None:
    journey = drive()
    seen: list[Any] = []

    def block_and_reload() -> None:
        sending = journey.demo.daemon.sending
        sending._again_at["drive"], sending._lost["drive"] = AT_S + 100.0, 3
        Reloading(journey.demo.built, journey.loop).reload()
        after = journey.demo.daemon.sending
        seen.extend([after is not sending, after._again_at is sending._again_at, dict(after._lost)])

    journey.at(AT_S, block_and_reload)
    journey.run(AT_S + 0.1)
    assert seen == [True, True, {"drive": 3}]


def test_fifty_times_in_a_row_nothing_grows(drive: Make) -> None:
    journey = drive()
    daemon, sizes = journey.demo.daemon, []

    def size() -> None:
        gc.collect()
        handlers = {role: sum(map(len, link.table._handlers.values())) for role, link in daemon.links.items()}
        ours = (one for one in gc.get_objects() if str(type(one).__module__).startswith("underdash."))
        alive = Counter(type(one).__name__ for one in ours)
        kept = {name: alive[name] for name in ("Assembly", "Store", "Sending", "Fingers", "Acting", "Key", "Deck")}
        files = len([*Path("/proc/self/fd").iterdir()])
        sizes.append((handlers, kept, threading.active_count(), files, len(daemon.assembly.suspensions.takers)))

    reload_at(journey, AT_S)
    journey.at(AT_S + 0.5, size)
    for number in range(50):
        reload_at(journey, AT_S + 0.6 + 0.02 * number)
    journey.at(AT_S + 2.0, size)
    journey.run(AT_S + 2.5)
    assert sizes[0] == sizes[1]
    assert journey.requests(AT_S + 2.0) != []


def test_who_clears_up_is_told_once_nobody_uses_what_was_before(drive: Make) -> None:
    journey = drive()
    before: list[int] = []
    there: list[bool] = []

    def clear() -> None:
        gc.collect()
        there.append(any(isinstance(one, Assembly) and id(one) == before[0] for one in gc.get_objects()))

    def again() -> None:
        before.append(id(journey.demo.built.assembly))
        Reloading(journey.demo.built, journey.loop, done=clear).reload()

    journey.at(AT_S, again)
    journey.run(AT_S + 0.1)
    assert there == [False]


def test_in_every_state_of_the_car_nothing_is_asked_that_would_not_be_asked_else(drive: Make) -> None:
    journey = drive()
    told = [reload_at(journey, 0.2 + 0.37 * number) for number in range(65)]
    journey.run(24.2)
    assert not any(told)
    asked = journey.requests()
    assert len(asked) > 50
    assert [at for at, _ in asked if "ON" not in journey.keys(at)] == []
