"""Noticing that nothing is heard while a person is led through a recording: what is done then cannot be found."""

from __future__ import annotations

SILENT_S = 5.0
"""Buses that are awake carry something many times a second (common practice)."""


class Hearing:
    """A state machine without a clock.

    Args:
        now: seconds.
    """

    def __init__(self, now: float) -> None:
        self._last = now
        self._ever = False
        self._told = False

    def heard(self, now: float) -> None:
        """Take note that a frame came."""
        self._last, self._ever = now, True

    def asleep(self, now: float) -> None:
        """Take note that nothing has to be heard now."""
        self._last, self._told = now, False

    def tick(self, now: float) -> str | None:
        """Return a sentence to say now, or None."""
        silent = now - self._last > SILENT_S
        if silent == self._told:
            return None
        self._told = silent
        if not silent:
            return "the buses are heard again"
        if self._ever:
            return (
                "nothing is heard any more: the car fell asleep, or the adapter is gone; what is done now cannot be "
                "found"
            )
        return "nothing is heard yet: is the ignition on, and the adapter plugged in?"
