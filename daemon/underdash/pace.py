"""Event loops whose time runs faster than the world's, for simulated drives.

Everything in the daemon takes its time from ``loop.time()``, so a loop with a time of its own drives the whole daemon
at that pace, without a second wiring. Such a time stands still while a callback runs and moves on only from timer to
timer: a machine that is too slow for the pace drives more slowly, and never misses what a real clock would have made
it miss.
"""

from __future__ import annotations

import asyncio
import selectors
import time

CATCH_UP_S = 0.05


class _Selector(selectors.DefaultSelector):
    """Waits its share of the time to the next timer and then lets the time jump there."""

    def __init__(self, speed: float) -> None:
        super().__init__()
        self._speed = speed
        self.now = time.monotonic()
        self._reached_at = time.monotonic()

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        if timeout is None or timeout <= 0:
            return super().select(timeout)
        due_at = self._reached_at + timeout / self._speed
        ready = super().select(max(0.0, due_at - time.monotonic()))
        world = time.monotonic()
        if ready and world < due_at:
            # something came in between: go as far as the world's clock is
            self.now += min(timeout, max(0.0, world - self._reached_at) * self._speed)
            self._reached_at = world
        elif not ready:
            self.now += timeout
            # on time, or behind: what was lost is not made up for
            self._reached_at = max(due_at, world - CATCH_UP_S)
        return ready


class PacedLoop(asyncio.SelectorEventLoop):
    """An event loop whose `time()` runs at the pace of its selector; made by `paced_loop`."""

    def __init__(self, pace: _Selector) -> None:
        self._pace = pace
        super().__init__(pace)

    def time(self) -> float:
        """Return the loop's time in seconds; it only ever grows."""
        return self._pace.now


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
