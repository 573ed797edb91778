"""What pages asked to be remembered: the highest value of a signal since the last reset, and its recent history.

Only samples of the source that counts are remembered. Both live in memory and are gone with the process.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection, Iterable

from ..contract.pages import Page
from .store import Slot, Store

POINTS = 120
"""Points a history keeps at most; a panel is rarely wider than two pixels each."""


class _History:
    """A ring of points, one for each of `POINTS` equal stretches of time; what stands out in a stretch is kept."""

    __slots__ = ("points", "seconds", "stretch", "width_s")

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.width_s = seconds / POINTS
        self.points: deque[tuple[float, float]] = deque(maxlen=POINTS + 1)
        self.stretch = -1

    def add(self, value: float, at: float) -> None:
        stretch = int(at / self.width_s)
        if stretch != self.stretch or not self.points:
            self.stretch = stretch
            self.points.append((at, value))
            return
        before = self.points[-2][1] if len(self.points) > 1 else value
        if abs(value - before) >= abs(self.points[-1][1] - before):
            self.points[-1] = (at, value)

    def seen(self, now: float) -> tuple[tuple[float, float], ...]:
        return tuple((now - at, value) for at, value in self.points if now - at <= self.seconds)


class Memory:
    """Peaks and histories of the signals that pages name.

    Args:
        store: where the samples arrive.
        peaks: signals whose highest value is held.
        histories: (signal, seconds) to be kept; of two wishes for one signal the longer one rules.
    """

    def __init__(self, store: Store, peaks: Iterable[str] = (), histories: Iterable[tuple[str, float]] = ()) -> None:
        self._store = store
        self._peaks: dict[str, float | None] = dict.fromkeys(peaks)
        longest: dict[str, float] = {}
        for name, seconds in histories:
            longest[name] = max(seconds, longest.get(name, 0.0))
        self._histories = {name: _History(seconds) for name, seconds in longest.items()}
        self._watched = sorted({*self._peaks, *self._histories})
        for name in self._watched:
            store.watch(name, self._take)

    @classmethod
    def of_pages(cls, store: Store, pages: Iterable[Page]) -> Memory:
        """Return a memory of all that these pages asked for."""
        asked = list(pages)
        return cls(store, [p for page in asked for p in page.peaks], [h for page in asked for h in page.histories])

    def take_over(self, other: Memory, same: Callable[[str], bool] = lambda name: True) -> None:
        """Go on with the peaks and histories that another memory has.

        Args:
            other: whose.
            same: says of a signal whether it comes from where it came from before.
        """
        for name in filter(same, self._peaks.keys() & other._peaks.keys()):
            self._peaks[name] = other._peaks[name]
        for name in filter(same, self._histories.keys() & other._histories.keys()):
            if self._histories[name].seconds == other._histories[name].seconds:
                self._histories[name] = other._histories[name]

    def _take(self, slot: Slot) -> None:
        value = slot.value
        if not isinstance(value, float) or not self._store.counts(slot, slot.at):
            return
        name = slot.signal.name
        if name in self._peaks:
            peak = self._peaks[name]
            self._peaks[name] = value if peak is None else max(peak, value)
        history = self._histories.get(name)
        if history is not None:
            history.add(value, slot.at)

    def reset(self, signal: str | None = None) -> None:
        """Forget the peak of one signal, or of all with None; histories stay, and so does what nobody holds."""
        for name in self._peaks if signal is None else {signal} & self._peaks.keys():
            self._peaks[name] = None

    def holds(self, signal: str) -> bool:
        """Tell whether a page asked for this signal's peak."""
        return signal in self._peaks

    def peaks(self) -> dict[str, float]:
        """Return the highest values by signal, in the stored unit; signals without one are left out."""
        return {name: peak for name, peak in self._peaks.items() if peak is not None}

    def histories(self, now: float, names: Collection[str] | None = None) -> dict[str, tuple[tuple[float, float], ...]]:
        """Return (seconds ago, value) by signal, oldest first; of `names` only, where they are given."""
        kept = self._histories.items()
        return {name: history.seen(now) for name, history in kept if names is None or name in names}

    def close(self) -> None:
        """Stop watching the store, before another memory takes over."""
        for name in self._watched:
            self._store.unwatch(name, self._take)
