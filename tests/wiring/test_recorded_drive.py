"""A drive that was recorded shows on the page what it showed while it was driven."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from importlib.resources import files
from math import inf
from pathlib import Path
from typing import Any

import pytest

from underdash.bus.memory import MemoryBus
from underdash.bus.port import QuietEvents
from underdash.bus.table import Table
from underdash.bus.trace import TraceWriter, read_trace
from underdash.config.mistakes import ConfigError
from underdash.config.reading import parse_config
from underdash.contract.errors import GivenError
from underdash.contract.signals import Snapshot
from underdash.pace import PacedLoop, paced_loop
from underdash.wiring.building import build, state_directory
from underdash.wiring.demo import Demo

SECONDS = 40.0
STEP = 0.1
"""A page may look between two steps of a sensor."""
PANEL = '\n[panel.main.settings]\nfile = "panel.png"\n'


@pytest.fixture(autouse=True)
def somewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.fixture
def loops() -> Iterator[Callable[[], PacedLoop]]:
    made: list[PacedLoop] = []

    def make() -> PacedLoop:
        made.append(paced_loop(inf))
        return made[-1]

    yield make
    for loop in made:
        loop.close()


def recorded(car: str, loop: PacedLoop, path: Path) -> list[tuple[float, Snapshot]]:
    """Drive, record all buses, and return what was shown, by seconds since the first frame."""
    demo = Demo(car, loop)
    seen: list[tuple[float, Snapshot]] = []
    demo.daemon.observers.append(lambda now, snapshot: seen.append((loop.time(), snapshot)))
    with TraceWriter(path) as writer:
        for role, bus in demo._buses.items():
            _record(role, bus, writer, loop)
        demo.run(SECONDS)
    with closing(read_trace(path)) as trace:
        _, first = next(trace)
    return [(at - first.at, snapshot) for at, snapshot in seen]


def _record(role: str, bus: MemoryBus, writer: TraceWriter, loop: PacedLoop) -> None:
    events = QuietEvents()
    events.tap = lambda frame: writer.write(role, frame)
    bus.port(silent=True).open(loop, Table(), events)


def text_of(car: str) -> str:
    text = files("underdash.simulator").joinpath(f"demo_{car}.toml").read_text()
    return text.replace('"memory"', '"trace"\nchannel = "drive.log"').replace("transmit = true", "") + PANEL


def played(car: str, loop: PacedLoop, folder: Path, seconds: float) -> tuple[Any, list[tuple[float, Snapshot]]]:
    built = build(parse_config(text_of(car), str(folder / "mine.toml")), loop)
    seen: list[tuple[float, Snapshot]] = []
    begun = loop.time()
    built.daemon.observers.append(lambda now, snapshot: seen.append((loop.time() - begun, snapshot)))
    loop.call_later(seconds, loop.stop)
    built.daemon.start()
    loop.run_forever()
    return built, seen


@pytest.mark.parametrize("car", ["tarn", "loris"])
def test_a_recorded_drive_shows_the_same_values(car: str, loops: Callable[[], PacedLoop], tmp_path: Path) -> None:
    driven = recorded(car, loops(), tmp_path / "drive.log")
    loop = loops()
    built, again = played(car, loop, tmp_path, SECONDS + 10.0)
    shown = {name for page in built.assembly.pages for name in (*page.needs, *page.uses)}
    names = {name for _, snapshot in driven for name in snapshot.readings} & (shown | {"vehicle.ignition"})
    compared = set()
    for at, snapshot in again:
        if not 15.0 <= at <= SECONDS - 10.0:
            continue
        for name in names:
            reading = snapshot.reading(name)
            near = [one.reading(name).value for when, one in driven if abs(when - at) <= 0.6]
            if not isinstance(reading.value, float):
                assert reading.value in near, f"{name} at {at:.2f} s"
                continue
            numbers = [value for value in near if isinstance(value, float)]
            assert min(numbers) - STEP <= reading.value <= max(numbers) + STEP, f"{name} at {at:.2f} s"
            compared.add(name)
    assert {"engine.boost_pressure", "engine.coolant_temperature"} <= compared
    status = built.daemon.status()
    assert not status.faults
    assert {bus.state.value for bus in status.buses} == {"absent"}
    assert all("was played to its end" in bus.sentence for bus in status.buses)
    assert status.asking.sent == 0
    telling, now = built.daemon.telling, loop.time()
    assert not [sentence for sentence in telling.closed(now) if "transmit" in sentence]
    ended = "the recording of drive has ended: start the daemon again"
    assert telling.why("engine.coolant_temperature", now).sentence == ended
    built.daemon.stop()
    built.keep()
    assert not (state_directory() / "state.json").exists()  # no evidence for the car's next journey
    assert (tmp_path / "panel.png").exists()


def test_what_cannot_be_played_is_told_before_anything_begins(loops: Callable[[], PacedLoop], tmp_path: Path) -> None:
    path = str(tmp_path / "mine.toml")
    with pytest.raises(GivenError, match=r"drive\.log cannot be opened"):
        build(parse_config(text_of("loris"), path), loops())
    for old, new, says in (
        ('channel = "drive.log"', "", "the path of the trace"),
        ('channel = "drive.log"', 'channel = "drive.log"\ntransmit = true', "nothing can be sent into"),
        ('channel = "drive.log"', 'channel = "drive.log"\nspeed = 0', "more than 0"),
        ('"trace"', '"memory"\nspeed = 2.0', "only with interface"),
    ):
        with pytest.raises(ConfigError, match=says):
            parse_config(text_of("loris").replace(old, new), path)
