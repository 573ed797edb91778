"""The edge of the simulator: puts a simulated car, or another tester, on ports with the loop's timers alone.

All time is the loop's, so a loop that runs fast runs the car fast.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Collection, Mapping
from functools import partial
from math import inf
from typing import Protocol

from ..bus.frames import EXTENDED, Frame, Handler
from ..bus.port import Port, PortError, QuietEvents
from ..bus.table import Table

TICK_S = 0.01
REOPEN_AFTER_S = 1.0


class Participant(Protocol):
    """Somebody who takes part in buses: a `SimulatedCar`, an `OtherTester`."""

    def keys(self, bus: str) -> Collection[int]:
        """Return the dispatch keys of a bus that it has to hear."""

    def advance(self, now: float) -> list[tuple[str, Frame]]:
        """Return what it sends by itself since the last call, as (bus, frame)."""

    def next_at(self) -> float:
        """Return when `advance` has something to do next; infinity for never again."""

    def answer(self, bus: str, frame: Frame, now: float) -> list[tuple[float, Frame]]:
        """Return what it sends because of a frame, as (seconds from now, frame)."""


class _Events(QuietEvents):
    """Hears of one thing only: that a port has failed."""

    def __init__(self, failed: Callable[[], None]) -> None:
        self._failed = failed

    def failed(self, error: PortError, at: float) -> None:
        """See `PortEvents`."""
        self._failed()


class Station:
    """A participant on its buses.

    Args:
        car: the car, or whoever else takes part.
        ports: a port for each of its buses by role, not yet open; a bus without one is silent and deaf.
        loop: the event loop.
        tick_s: frames are handed over this often; that is how exact their times are.

    Attributes:
        sent: frames that the ports took.
        refused: frames that they had no room for; those are lost, as on a real bus that nobody acknowledges.
    """

    def __init__(
        self, car: Participant, ports: Mapping[str, Port], loop: asyncio.AbstractEventLoop, tick_s: float = TICK_S
    ) -> None:
        self.car = car
        self.sent = 0
        self.refused = 0
        self._ports = dict(ports)
        self._loop = loop
        self._tick_s = tick_s
        self._timers: set[asyncio.TimerHandle] = set()
        self._tick: asyncio.TimerHandle | None = None

    def start(self) -> None:
        """Open the ports, listen for requests and let the script begin.

        Raises:
            PortError: a port cannot be opened; those opened before are closed again.
        """
        try:
            for role in self._ports:
                self._open(role)
        except Exception:
            self.stop()
            raise
        self._advance()

    def stop(self) -> None:
        """Fall silent and close the ports; harmless if it never started."""
        for timer in (self._tick, *self._timers):
            if timer is not None:
                timer.cancel()
        self._timers.clear()
        self._tick = None
        for port in self._ports.values():
            port.close()

    def _open(self, role: str) -> None:
        table = self._requests(role)
        self._ports[role].open(self._loop, table, _Events(partial(self._reopen, role)))
        self._ports[role].listen(list(table))

    def _again(self, role: str) -> None:
        """Open a port that has failed; as long as that is not possible, try on."""
        try:
            self._ports[role].close()
            self._open(role)
        except PortError:
            self._reopen(role)

    def _reopen(self, role: str) -> None:
        self._later(REOPEN_AFTER_S, partial(self._again, role))

    def _requests(self, role: str) -> Table:
        table = Table()
        for key in sorted(self.car.keys(role)):
            table.add(key, self._asked(role, key))
        return table

    def _asked(self, role: str, key: int) -> Handler:
        extended = bool(key & EXTENDED)

        def handle(data: bytes, at: float) -> None:
            for delay_s, answer in self.car.answer(role, Frame(key & ~EXTENDED, data, extended, at), at):
                self._later(delay_s, partial(self._send, role, answer))

        return handle

    def _later(self, delay_s: float, called: Callable[[], None]) -> None:
        timer: asyncio.TimerHandle

        def call() -> None:
            self._timers.discard(timer)
            called()

        timer = self._loop.call_later(delay_s, call)
        self._timers.add(timer)

    def _advance(self) -> None:
        now = self._loop.time()
        for role, frame in self.car.advance(now):
            self._send(role, frame)
        due = self.car.next_at()
        self._tick = None if due == inf else self._loop.call_at(max(due, now + self._tick_s), self._advance)

    def _send(self, role: str, frame: Frame) -> None:
        port = self._ports.get(role)
        if port is None:
            return
        if port.send(frame):
            self.sent += 1
        else:
            self.refused += 1
