"""Breaks a simulated car on demand, and says what becomes of it: each fault at its second of the drive."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from ..bus.memory import MemoryBus, MemoryPort
from ..simulator.car import SimulatedCar
from ..simulator.faults import Fault
from ..simulator.trouble import BusFault, Trouble
from .chain import THERE, Chain

LOOK_AFTER_S = 15.0
"""So long after a fault everybody has noticed: units are asked a few times, and values grow old."""
REPORT_S = 0.1
"""How often a controller that hears errors, or is off, reports that."""
_REPORTS = {BusFault.ERRORS: 0x088, BusFault.OFF: 0x040}
"""Classes of error frames (linux/can/error.h): bus error with protocol error, and bus off."""


@dataclass(slots=True)
class Breaking:
    """Puts faults into a car and its buses.

    Args:
        car: the simulated one.
        buses: its buses by role.
        ports: the car's own ways to them.
        loop: whose time counts.
        missing: says why values are missing.

    Attributes:
        told: (fault, what was missing a while later).
        looked: called with each fault when that is told.
    """

    car: SimulatedCar
    buses: Mapping[str, MemoryBus]
    ports: Mapping[str, MemoryPort]
    loop: asyncio.AbstractEventLoop
    missing: Callable[[], list[Chain]]
    told: list[tuple[Trouble, list[Chain]]] = field(default_factory=list)
    looked: Callable[[Trouble], None] = lambda trouble: None
    _reporting: dict[str, asyncio.TimerHandle] = field(default_factory=dict)

    def begin(self, troubles: Iterable[Trouble], start: float, end: float) -> None:
        """Have each come at its time, and look at what came of it before the drive ends (loop's seconds).

        What comes at the same time comes in the given order: a loop keeps none among calls for one moment.
        """
        moments: dict[float, list[Trouble]] = {}
        for one in troubles:
            moments.setdefault(start + one.at_s, []).append(one)
        for at, together in moments.items():
            self.loop.call_at(at, self._break, together)
            self.loop.call_at(max(at, min(at + LOOK_AFTER_S, end - REPORT_S)), self._look, together)

    def _break(self, together: Iterable[Trouble]) -> None:
        for one in together:
            for unit in one.units:
                self.car.fail(unit, Fault(one.fault))
            for role in one.buses:
                self._break_bus(role, BusFault(one.fault))

    def _break_bus(self, role: str, fault: BusFault) -> None:
        bus = self.buses[role]
        if (timer := self._reporting.pop(role, None)) is not None:
            timer.cancel()
        bus.dropping = fault in (BusFault.DEAD, BusFault.ERRORS, BusFault.OFF)
        bus.only_from = self.ports[role] if fault is BusFault.BLOCKED else None
        if fault is BusFault.UNPLUGGED:
            bus.unplug()
        elif not bus.plugged:
            bus.plug()
        if fault in _REPORTS:
            self._report(role, _REPORTS[fault])

    def _report(self, role: str, kind: int) -> None:
        self.buses[role].inject_error(kind)
        self._reporting[role] = self.loop.call_later(REPORT_S, self._report, role, kind)

    def _look(self, together: Iterable[Trouble]) -> None:
        for one in together:
            self.told.append((one, [chain for chain in self.missing() if chain.fault.cause not in THERE]))
            self.looked(one)
