"""A bus inside the process, without wire, kernel or thread: for simulated cars, demonstrations and tests.

Every frame sent by one port arrives at the others and comes back to its sender as the confirmation, in the order of
sending, on the loop's next turn. It can be made to fail like a real one.
"""

from __future__ import annotations

import asyncio
from collections.abc import Collection
from dataclasses import replace

from .controller import Controller
from .delivery import deliver
from .filters import PASS_ALL, exact, passes
from .frames import Frame
from .port import PortAbsentError, PortError, PortEvents, PortGoneError, sendable
from .table import Table


class MemoryBus:
    """A bus that ports hang on.

    Args:
        role: its name, for messages.

    Attributes:
        frames: how many frames it carried.
        full: while True no frame is taken, as if nobody acknowledged.
        dropping: while True frames vanish on the way; their sender does not get them back.
        only_from: while there is one, frames of all other ports vanish, as if their wire to the bus were cut one way.
    """

    def __init__(self, role: str = "memory") -> None:
        self.role = role
        self.frames = 0
        self.full = False
        self.dropping = False
        self.only_from: MemoryPort | None = None
        self.plugged = True
        self._open: list[MemoryPort] = []

    def port(self, *, silent: bool = False) -> MemoryPort:
        """Return one more port, not yet open; a silent one only listens."""
        return MemoryPort(self, silent)

    def unplug(self) -> None:
        """Pull the adapter out: open ports fail, and opening does too until `plug`."""
        self.plugged = False
        for port in tuple(self._open):
            port.fail(PortGoneError(f"{self.role}: the adapter has gone; plug it in again"))

    def plug(self) -> None:
        """Put it back."""
        self.plugged = True

    def inject(self, frame: Frame) -> None:
        """Put a frame on the bus that no port sent: from another node, or a remote, FD or error frame."""
        self.frames += 1
        for port in tuple(self._open):
            port.deliver(frame)

    def inject_error(self, can_id: int, data: bytes = b"") -> None:
        """Have every port's controller report an error (linux/can/error.h)."""
        for port in tuple(self._open):
            port.deliver(Frame(can_id, data, error=True))

    def lose(self, total: int) -> None:
        """Have every port report that it lost `total` frames so far."""
        for port in tuple(self._open):
            port.lose(total)

    def carry(self, frame: Frame, port: MemoryPort) -> bool:
        """Take a frame from a port; False if there is no room."""
        if self.full:
            return False
        if not self.dropping and self.only_from in (None, port):
            self.inject(frame)
        return True

    def attach(self, port: MemoryPort) -> None:
        """Let a port take part.

        Raises:
            PortAbsentError: it is unplugged.
        """
        if not self.plugged:
            raise PortAbsentError(f"{self.role}: the adapter is not plugged in; plug it in")
        self._open.append(port)

    def detach(self, port: MemoryPort) -> None:
        """Let a port go."""
        if port in self._open:
            self._open.remove(port)


class MemoryPort:
    """One node's way to a `MemoryBus`; see `Port` for what its methods promise."""

    virtual = True
    controller: Controller | None = None

    def __init__(self, bus: MemoryBus, silent: bool = False) -> None:
        self.silent: bool | None = silent
        self._bus = bus
        self._filters = PASS_ALL
        self._loop: asyncio.AbstractEventLoop | None = None
        self._waiting: list[Frame] = []
        self._heard = 0
        self._octets = 0

    def open(self, loop: asyncio.AbstractEventLoop, table: Table, events: PortEvents) -> None:
        """See `Port`."""
        self._bus.attach(self)
        self._loop, self._table, self._events = loop, table, events
        self._waiting = []
        events.opened(loop.time())

    def send(self, frame: Frame) -> bool:
        """See `Port`; frames that a real controller of ours could not send are not taken."""
        if self._loop is None or self.silent or not sendable(frame):
            return False
        return self._bus.carry(frame, self)

    def listen(self, keys: Collection[int] | None) -> None:
        """See `Port`."""
        self._filters = exact(keys)

    def totals(self) -> tuple[int, int] | None:
        """See `Port`."""
        return self._heard, self._octets

    def probe(self) -> PortError | None:
        """See `Port`."""
        return None

    def close(self) -> None:
        """See `Port`."""
        self._loop = None
        self._bus.detach(self)

    def deliver(self, frame: Frame) -> None:
        """Take a frame from the bus; it is handed on at the loop's next turn, with all that came until then."""
        if self._loop is None:
            return
        if not self._waiting:
            self._loop.call_soon(self._hand_on)
        self._waiting.append(frame)

    def lose(self, total: int) -> None:
        """Report lost frames."""
        if self._loop is not None:
            self._events.lost(total, self._loop.time())

    def fail(self, error: PortError) -> None:
        """Break down, as an adapter does that is pulled out."""
        if self._loop is not None:
            at = self._loop.time()
            self._loop = None
            self._bus.detach(self)
            self._events.failed(error, at)

    def _hand_on(self) -> None:
        if self._loop is None:
            return
        waiting, self._waiting = self._waiting, []
        at = self._loop.time()
        heard = [frame for frame in waiting if frame.error or self._passes(frame)]
        if self._events.tap is not None:  # nobody else looks at a frame's own time, and stamping is most of the work
            heard = [replace(frame, at=at) for frame in heard]
        deliver(heard, at, self._table, self._events, self._bus.role)

    def _passes(self, frame: Frame) -> bool:
        self._heard += 1
        self._octets += len(frame.data)
        return self._filters is PASS_ALL or passes(self._filters, frame.key)
