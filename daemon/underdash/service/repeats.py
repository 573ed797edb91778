"""How often one thing may be said: the same event a few times a minute, then how many more there were.

A journal has a limit of its own, which drops whatever comes next; this one keeps the rare line that explains the rest.
Pure: the time is handed in.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, field

MOST, WINDOW_S = 10, 60.0


@dataclass(slots=True)
class _Window:
    begun: float
    said: int = 0
    kept_back: int = 0


@dataclass(slots=True)
class Repeats:
    """Counts how often each thing was said lately.

    Args:
        most: so often it may be said in a window.
        window_s: seconds; a window begins with what is said first.
    """

    most: int = MOST
    window_s: float = WINDOW_S
    _windows: dict[Hashable, _Window] = field(default_factory=dict)

    def may(self, what: Hashable, now: float) -> bool:
        """Return whether something may be said once more; counts it if not. Take what is `over` first.

        Args:
            what: equal for what counts as the same.
            now: monotonic seconds.
        """
        window = self._windows.setdefault(what, _Window(now))
        if window.said < self.most:
            window.said += 1
            return True
        window.kept_back += 1
        return False

    def over(self, now: float) -> Iterator[tuple[Hashable, int]]:
        """End the windows that are over, and yield what was kept back in them and how often."""
        for what, window in list(self._windows.items()):
            if now - window.begun >= self.window_s:
                self._windows.pop(what, None)  # another thread may have been as quick
                if window.kept_back:
                    yield what, window.kept_back
