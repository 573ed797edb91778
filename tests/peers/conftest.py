"""A virtual bus of python-can with can-isotp at one end, and the time that everybody on it has."""

from __future__ import annotations

import heapq
import logging
from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any

import can
import pytest

STEP_S = 0.000_5
"""How far the clock goes when everybody had a turn."""


class Clock:
    """The time both ends have; the peers read it where they would read the system's."""

    def __init__(self) -> None:
        self.now = 0.0

    def as_module(self) -> Any:
        return SimpleNamespace(
            monotonic=lambda: self.now,
            perf_counter=lambda: self.now,
            perf_counter_ns=lambda: round(self.now * 1e9),
            sleep=lambda _seconds: None,
        )


class Wire:
    """Two ends of one virtual bus: can-isotp and ours, each stepped by hand.

    Attributes:
        peer: can-isotp's stack, no thread started.
        errors: what it complained of.
        hear: called with (frame, now) for each frame that reaches our end; it returns (seconds from now, data) to say.
        turn: called with now after each step.
        frames: all that was on the bus, as (seconds, id, data).
    """

    def __init__(self, clock: Clock, ours: int, theirs: int, extended: bool, params: dict[str, Any]) -> None:
        isotp = pytest.importorskip("isotp", reason="can-isotp is not installed")
        self.clock = clock
        self.ours, self.extended = ours, extended
        name = f"peers {id(self)}"
        self.bus = can.Bus(interface="virtual", channel=name)
        self.far = can.Bus(interface="virtual", channel=name)
        self.errors: list[str] = []
        self.hear: Callable[[bytes, float], list[tuple[float, bytes]]] = lambda data, now: []
        self.turn: Callable[[float], None] = lambda now: None
        self.frames: list[tuple[float, int, bytes]] = []
        self._due: list[tuple[float, int, bytes]] = []
        self._count = 0
        mode = isotp.AddressingMode.Normal_29bits if extended else isotp.AddressingMode.Normal_11bits
        self.peer = isotp.CanStack(
            self.far,
            address=isotp.Address(mode, rxid=ours, txid=theirs),
            error_handler=lambda error: self.errors.append(type(error).__name__),
            params={"tx_padding": 0xAA} | params,
        )

    def say(self, data: bytes, after_s: float = 0.0) -> None:
        """Put a frame of ours on the bus, now or later."""
        self._count += 1
        heapq.heappush(self._due, (self.clock.now + after_s, self._count, data))

    def step(self) -> None:
        """Let everybody do what is to be done now, then let time pass."""
        now = self.clock.now
        while self._due and self._due[0][0] <= now:
            data = heapq.heappop(self._due)[2]
            self.bus.send(can.Message(arbitration_id=self.ours, data=data, is_extended_id=self.extended))
            self.frames.append((now, self.ours, data))
        self.peer.process(rx_timeout=0.0)
        while (message := self.bus.recv(timeout=0)) is not None:
            data = bytes(message.data)
            self.frames.append((now, message.arbitration_id, data))
            for after_s, answer in self.hear(data, now):
                self.say(answer, after_s)
        self.turn(now)
        self.clock.now += STEP_S

    def close(self) -> None:
        """Leave the bus."""
        self.bus.shutdown()
        self.far.shutdown()


@pytest.fixture
def wire(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Wire]]:
    """Makes a `Wire`: `wire(our id, their id, extended, **parameters of can-isotp)`."""
    clock = Clock()
    for place in ("isotp.tools.time", "isotp.protocol.time", "udsoncan.client.time"):
        monkeypatch.setattr(place, clock.as_module())
    for logger in ("isotp", "udsoncan", "Connection", "UdsClient"):
        monkeypatch.setattr(logging.getLogger(logger), "disabled", True)
    made: list[Wire] = []

    def make(ours: int, theirs: int, extended: bool = False, **params: Any) -> Wire:
        made.append(Wire(clock, ours, theirs, extended, params))
        return made[-1]

    yield make
    for one in made:
        one.close()
