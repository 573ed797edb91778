"""A drive on the simulated Tarn with the real daemon, in jumping time, with a tap on each bus."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterator
from math import inf
from typing import Any

import pytest

from underdash.bus.frames import Frame
from underdash.bus.memory import MemoryBus
from underdash.bus.port import QuietEvents
from underdash.bus.table import Table
from underdash.config.reading import parse_config
from underdash.config.schema import Config
from underdash.contract.signals import Snapshot, Value
from underdash.pace import PacedLoop, paced_loop
from underdash.simulator.cars import simulated
from underdash.simulator.driver import Phase, Script
from underdash.wiring import demo as demo_module
from underdash.wiring.demo import Demo

SHORT: Script = (
    Phase("unlocked", 1, "LOCK", lights=False, knob=1.0, daylight=1.0),
    Phase("accessory", 1, "ACC"),
    Phase("engine at rest", 7, "ON"),
    Phase("starter", 1.2, "START"),
    Phase("idle", 8),
    Phase("off", 4, "OFF"),
    Phase("locked", 3, "LOCK"),
)


class Journey:
    """A drive.

    Attributes:
        demo: the daemon and the simulated car.
        buses: by role.
        wire: (seconds of the drive, frame) by role, all that was on the bus.
        seen: (seconds, what everybody may know), every tick that observers are told of.
        true: (seconds, true values) every 20 ms.
    """

    def __init__(self, script: Script | None, every_s: float, seed: int, car: str = "tarn") -> None:
        self.loop: PacedLoop = paced_loop(inf)
        self.demo = Demo(car, self.loop, seed=seed)
        self.buses: dict[str, MemoryBus] = self.demo._buses
        self.wire: dict[str, list[tuple[float, Frame]]] = defaultdict(list)
        self.seen: list[tuple[float, Snapshot]] = []
        self.true: list[tuple[float, dict[str, Value]]] = []
        self.asks = {unit.request_id: unit.name for unit in self.demo.built.assembly.car.units}
        self._every_s = every_s
        self._later: list[tuple[float, Callable[[], object]]] = []
        self.demo.daemon.observers.append(lambda now, snapshot: self.seen.append((self.demo.seconds, snapshot)))

    def at(self, seconds: float, do: Callable[[], object]) -> None:
        self._later.append((seconds, do))

    def listen(self, role: str) -> None:
        events = QuietEvents()
        events.tap = lambda frame: self.wire[role].append((self.demo.seconds, frame))
        self.buses[role].port(silent=True).open(self.loop, Table(), events)

    def plug(self, role: str) -> None:
        self.buses[role].plug()
        self.listen(role)

    def run(self, seconds: float | None = None) -> Journey:
        for role in self.buses:
            self.listen(role)
        for due, do in self._later:
            self.loop.call_later(due, do)
        self.loop.call_soon(self._truth)
        self.demo.run(seconds)
        return self

    def requests(self, since: float = -inf, until: float = inf) -> list[tuple[float, Frame]]:
        """Frames on a request id, on any bus: ours, unless a test plays another tester."""
        found = [item for wire in self.wire.values() for item in wire if item[1].id in self.asks]
        return sorted((item for item in found if since <= item[0] <= until), key=lambda item: item[0])

    def values(self, signal: str, since: float = -inf, until: float = inf) -> list[Value | None]:
        return [snapshot.reading(signal).value for at, snapshot in self.seen if since <= at <= until]

    def keys(self, at: float) -> set[Value]:
        """Positions of the key around a moment, give or take one look."""
        first = bisect_left(self.true, at - self._every_s, key=lambda item: item[0])
        last = bisect_right(self.true, at + self._every_s, key=lambda item: item[0])
        return {values["vehicle.ignition"] for _, values in self.true[first:last]}

    def _truth(self) -> None:
        self.true.append((self.demo.seconds, self.demo.simulated.truth(self.loop.time())))
        self.loop.call_later(self._every_s, self._truth)


@pytest.fixture(scope="session")
def drive() -> Iterator[Callable[..., Any]]:
    """Makes a `Journey`: `drive(script=..., edit=lambda config text: ..., seed=1, every_s=0.02)`."""
    loops = []

    def make(
        script: Script | None = SHORT,
        edit: Callable[[str], str] = lambda text: text,
        seed: int = 1,
        every_s: float = 0.02,
        car: str = "tarn",
    ) -> Journey:
        def parsed(text: str, file: str) -> Config:
            return parse_config(edit(text), file)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(demo_module, "parse_config", parsed)
            if script is not None:
                patch.setattr(demo_module, "simulated", lambda car: (simulated(car)[0], script))
            journey = Journey(script, every_s, seed, car)
        loops.append(journey.loop)
        return journey

    yield make
    for loop in loops:
        loop.close()


@pytest.fixture(scope="session")
def short(drive: Callable[..., Any]) -> Any:
    """One short drive for all that only look at it."""
    return drive().run()
