"""A cap on the requests of one bus: evenly spaced, a small burst after a pause, never more than so many a second."""

from __future__ import annotations

from collections import deque
from math import inf

WINDOW_S = 1.0


class Cap:
    """Requests of one bus.

    Args:
        per_s: most requests in any second; None for no cap.
        burst: requests that may follow each other closely after a pause.
        spacing_s: least time between two, so that the first is off the bus before the second is due.
    """

    def __init__(self, per_s: float | None, burst: int, spacing_s: float) -> None:
        self._most = None if per_s is None else max(1, int(per_s))
        self._interval_s = 0.0 if per_s is None else 1.0 / per_s
        self._credit_s = (burst - 1) * self._interval_s
        self._spacing_s = spacing_s
        self._paid_until = -inf
        self._last = -inf
        self._sent: deque[float] = deque(maxlen=self._most or 0)

    def free_at(self) -> float:
        """Return from when on one more may go out."""
        free = max(self._last + self._spacing_s, self._paid_until - self._credit_s)
        return max(free, self._sent[0] + WINDOW_S) if len(self._sent) == self._most else free

    def spend(self, now: float) -> None:
        """Count a request that went out."""
        self._last = now
        self._paid_until = max(self._paid_until, now) + self._interval_s
        self._sent.append(now)
