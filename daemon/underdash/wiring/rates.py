"""How often the main value of each page on show really comes, beside how often the page wants it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from ..contract.pages import Page
from ..contract.signals import NOBODY
from ..signals.store import Slot
from .assembly import Assembly

WINDOW_S = 10.0
LEAST_S = 1.0
"""A shorter time says nothing about a rate."""


@dataclass(frozen=True, slots=True)
class Rate:
    """How often a page's main value comes.

    Attributes:
        signal: the main value; the first that the page needs or uses and somebody provides.
        per_s: samples a second over up to ten seconds; None while that is not known yet.
        wanted_per_s: what the page asks for.
    """

    page: str
    signal: str
    per_s: float | None
    wanted_per_s: float

    @property
    def sentence(self) -> str:
        """What the panel says ("14/s, wanted 20/s")."""
        came = "counting" if self.per_s is None else f"{_plain(self.per_s)}/s"
        return f"{came}, wanted {_plain(self.wanted_per_s)}/s"


@dataclass(slots=True)
class _Counted:
    """Counts of one panel's main value: (monotonic s, samples so far)."""

    page: str
    signal: str
    slots: list[Slot]
    wanted_per_s: float
    counts: deque[tuple[float, int]] = field(default_factory=deque)


class Rates:
    """Counts for every panel.

    Args:
        assembly: whose signals are counted.
    """

    def __init__(self, assembly: Assembly) -> None:
        self._assembly = assembly
        self._counted: dict[str, _Counted] = {}

    def look(self, shown: Iterable[tuple[str, Page]], now: float) -> None:
        """Count; called a few times a second with (panel, page on show)."""
        for panel, page in shown:
            signal = self._main(page, now)
            slots = self._sources(signal, now) if signal else []
            before = self._counted.get(panel)
            if before is None or (before.page, before.slots) != (page.name, slots):
                before = self._counted[panel] = _Counted(page.name, signal, slots, 1.0 / page.period_s)
            before.counts.append((now, max((slot.count for slot in slots), default=0)))
            while now - before.counts[0][0] > WINDOW_S:
                before.counts.popleft()

    def of(self, panel: str) -> Rate | None:
        """Return the rate of the page on a panel, None if it shows nothing that could have one."""
        found = self._counted.get(panel)
        if found is None or not found.slots:
            return None
        (began, first), (ended, last) = found.counts[0], found.counts[-1]
        per_s = (last - first) / (ended - began) if ended - began >= LEAST_S else None
        return Rate(found.page, found.signal, per_s, found.wanted_per_s)

    def _main(self, page: Page, now: float) -> str:
        names = (*page.needs, *page.uses)
        return next((name for name in names if self._assembly.store.read(name, now).source != NOBODY), "")

    def _sources(self, signal: str, now: float, depth: int = 8) -> list[Slot]:
        """Return where the samples really come from; a computed value comes as often as what it rests on."""
        store, derived = self._assembly.store, self._assembly.derived
        slot = next((one for one in store.slots(signal) if store.counts(one, now)), None)
        if slot is None:
            return []
        inputs = derived.rests_on(slot) if depth else ()
        found = [source for name in inputs for source in self._sources(name, now, depth - 1)]
        return found or [slot]


def _plain(number: float) -> str:
    return f"{number:.0f}" if number >= 9.5 else f"{number:.1f}".removesuffix(".0")
