"""A line inside the process with the reference controller at its far end, for trying things without any hardware."""

from __future__ import annotations

from collections.abc import Callable

from .reference import Controller

Fate = Callable[[int, int], bytes]
"""(which byte since the line was opened, the byte) -> what arrives instead; it may raise an OSError."""


def whole(number: int, byte: int) -> bytes:
    """Let a byte pass."""
    return bytes((byte,))


class MemoryLine:
    """What `Line` asks for, with a controller that answers at once.

    Args:
        controller: at the far end.
        pass_time: called with the seconds that nothing arrives for, to move a clock that stands still.
        there, back: what becomes of each byte to and from the controller.
    """

    def __init__(
        self,
        controller: Controller,
        pass_time: Callable[[float], object],
        *,
        there: Fate = whole,
        back: Fate = whole,
    ) -> None:
        self.controller = controller
        self.sent = 0
        self.answered = 0
        self.closed = False
        self._pass_time = pass_time
        self._there, self._back = there, back
        self._arrived = bytearray()

    def write(self, data: bytes) -> None:
        """Carry bytes to the controller."""
        for byte in data:
            number, self.sent = self.sent, self.sent + 1
            for arrived in self._there(number, byte):
                self.say(self.controller.receive(arrived))

    def say(self, data: bytes) -> None:
        """Carry bytes from the controller."""
        for byte in data:
            number, self.answered = self.answered, self.answered + 1
            self._arrived += self._back(number, byte)

    def read(self, wait_s: float) -> bytes:
        """Return what arrived; time passes if that is nothing."""
        if not self._arrived and wait_s > 0:
            self._pass_time(wait_s)
            self.controller.passed(round(wait_s * 1000))
        data = bytes(self._arrived)
        self._arrived.clear()
        return data

    def close(self) -> None:
        """End it."""
        self.closed = True
