"""What keeps the machine on although the time to power off has come, and for how long at most.

A hold puts a halt by time off and never prevents it: somebody who forgot to log out must not cost the car its battery.
A low battery is not held up by anything.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from enum import StrEnum


class Hold(StrEnum):
    """Why a halt by time waits."""

    LOGGED_IN = "somebody is logged in"
    UPDATING = "an update is running"


class Holding:
    """Counts how long a halt that is due has been put off.

    Args:
        caps: seconds after which a hold counts no more; one without an entry does not count at all.
    """

    def __init__(self, caps: Mapping[Hold, float]) -> None:
        self._caps = dict(caps)
        self._due_at: float | None = None
        self.by: tuple[Hold, ...] = ()
        """What puts the halt off now; empty while none is due."""

    def holds(self, found: Collection[Hold], now: float) -> bool:
        """Say whether a halt that is due now has to wait.

        Args:
            found: what is the case.
            now: monotonic seconds.
        """
        if self._due_at is None:
            self._due_at = now
        self.by = tuple(hold for hold in Hold if hold in found and now - self._due_at < self._caps.get(hold, 0.0))
        return bool(self.by)

    def left_s(self, now: float) -> float:
        """Return after how many seconds the machine goes off at the latest; 0 where nothing holds it."""
        if self._due_at is None or not self.by:
            return 0.0
        return max(self._caps[hold] for hold in self.by) - (now - self._due_at)

    def over(self) -> None:
        """Take note that no halt is due any more."""
        self._due_at, self.by = None, ()


def sentence(by: Collection[Hold], left_s: float) -> str:
    """Say why the machine is still on and for how long at most; "" where nothing holds it."""
    if not by:
        return ""
    return f"power-off waits, {max(1, round(left_s / 60))} min at most: {' and '.join(by)}"
