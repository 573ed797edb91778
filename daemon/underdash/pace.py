"""Event loops whose time runs faster than the world's, for simulated drives.

Everything in the daemon takes its time from ``loop.time()``, so a loop that scales or jumps its time drives the whole
daemon at that pace, without a second wiring.
"""

from __future__ import annotations

import asyncio
import selectors
import time
from math import inf


class _Selector(selectors.DefaultSelector):
    """Waits a scaled time, or does not wait at all and lets the time jump instead."""

    def __init__(self, speed: float) -> None:
        super().__init__()
        self._speed = speed
        self._jumped = 0.0
        self._start = time.monotonic()

    def now(self) -> float:
        if self._speed == inf:
            return self._start + self._jumped
        return self._start + (time.monotonic() - self._start) * self._speed

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        if timeout is None or timeout <= 0:
            return super().select(timeout)
        if self._speed != inf:
            return super().select(timeout / self._speed)
        ready = super().select(0)
        if not ready:
            self._jumped += timeout
        return ready


class PacedLoop(asyncio.SelectorEventLoop):
    """An event loop whose `time()` runs at the pace of its selector; made by `paced_loop`."""

    def __init__(self, pace: _Selector) -> None:
        self._pace = pace
        super().__init__(pace)

    def time(self) -> float:
        """Return the loop's time in seconds; it only ever grows."""
        return self._pace.now()


def paced_loop(speed: float = 1.0) -> PacedLoop:
    """Return an event loop whose time runs `speed` times as fast as the monotonic clock.

    Args:
        speed: seconds of the loop per second of the world; `math.inf` jumps from timer to timer without waiting.

    Raises:
        ValueError: the speed is not larger than 0.
    """
    if not speed > 0:
        raise ValueError(f"speed must be larger than 0; found {speed}")
    return PacedLoop(_Selector(speed))
