"""The service manager's watchdog: fed only while every part of the daemon makes progress (sd_watchdog_enabled(3))."""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping

LOOKS = 4
"""Looks in the watchdog's time; the manual wants at least two, and one that comes late must not be the end."""


class Progress:
    """Tells parts that go on from parts that stand still; knows neither clock nor daemon."""

    def __init__(self) -> None:
        self._before: dict[str, int] = {}

    def look(self, counts: Mapping[str, int], idle: Collection[str] = ()) -> tuple[str, ...]:
        """Compare with the last look.

        Args:
            counts: how often each part has done its work so far; what is new or begins anew counts as progress.
            idle: parts that have nothing to do.

        Returns:
            Parts that stand still though they have something to do; while there is none the watchdog is fed.
        """
        before, self._before = self._before, dict(counts)
        return tuple(part for part, count in counts.items() if part not in idle and before.get(part) == count)


def watchdog_s(environment: Mapping[str, str] = os.environ, process: int | None = None) -> float | None:
    """Return within how many seconds the service manager wants to hear of us; None if it does not watch."""
    text, whose = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID", "")
    if whose and whose != str(os.getpid() if process is None else process):
        return None
    return int(text) / 1e6 if text.isascii() and text.isdigit() and int(text) else None
