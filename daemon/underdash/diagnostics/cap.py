"""A cap on requests over time: evenly spaced, with a small burst after a pause, never more than so many in a second."""

from __future__ import annotations

from collections import deque
from math import inf

WINDOW_S = 1.0


class Cap:
    """Requests of one bus.

    Args:
        per_s: most requests in any second; None for no cap.
        burst: requests that may go out at once after a pause.
    """

    def __init__(self, per_s: float | None, burst: int) -> None:
        self._most = inf if per_s is None else max(1, int(per_s))
        self._interval_s = 0.0 if per_s is None else 1.0 / per_s
        self._burst = burst
        self._paid_until = -inf
        self._sent: deque[float] = deque(maxlen=None if per_s is None else max(1, int(per_s)))

    def free_at(self, ahead: int = 0) -> float:
        """Return from when on one more may go out.

        Args:
            ahead: requests that go out before it in this turn.
        """
        if self._most == inf:
            return -inf
        spaced = self._paid_until - (self._burst - 1 - ahead) * self._interval_s
        if len(self._sent) + ahead < self._most:
            return spaced
        index = len(self._sent) + ahead - int(self._most)
        return max(spaced, self._sent[index] + WINDOW_S) if index < len(self._sent) else inf

    def spend(self, now: float) -> None:
        """Count a request that went out."""
        if self._most == inf:
            return
        self._paid_until = max(self._paid_until, now) + self._interval_s
        self._sent.append(now)
