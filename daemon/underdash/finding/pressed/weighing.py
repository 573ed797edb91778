"""Weighing all small fields of a trace at once by how well they explain marks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from ...broadcast.bits import place_of
from ..heard import Floats, Integers
from ..small import Small
from .answering import LEAST_DENSITY, Fit, Way, density, fit, ways

ALIKE = 3.0
"""Of two that the marks speak for with at most this ratio, none is told to be better (common practice)."""
RATHER_NOT = 0.3
"""Weight beforehand of a field whose bits change at different times, against one whose bits change together; also of
the coming of an id, against what is in it."""
ACROSS, ACROSS_TOGETHER = 0.03, 0.26
"""Weight of a field over the border of two bytes, and of one whose sides change together half of the time or more.
Counted in four recordings with known fields: 1 of 30 and 23 of 87 pairs of quiet bits at a border are one field."""
UNDER = 0.3
"""Weight of a field that is there in some frames of its id only, by what looks like a multiplexer."""
LARGEST = 600.0
"""Logarithm beyond which a likelihood ratio is not told any larger."""
AT_ONCE = 4_000_000
"""Pairs of a mark and a change that are weighed at once, for the sake of memory."""


@dataclass(frozen=True)
class Answering:
    """A field that answers, how it does, and its weight: beforehand times likelihood ratio.

    Attributes:
        follows: a sentence that says of what it is a consequence.
        others: of a field that several words share what it reads on each other one: (raw, word).
    """

    field: Small
    fit: Fit
    weight: float
    follows: str = ""
    others: tuple[tuple[int, str], ...] = ()

    @property
    def by_marks(self) -> float:
        """What the marks speak for it, whatever it was worth beforehand."""
        return self.weight / _beforehand(self.field)

    def at(self) -> Floats:
        """Return when the frame came that answered each mark; not a number where none did."""
        found: Floats = np.where(self.fit.answers >= 0, self.field.at[self.fit.answers], np.nan)
        return found

    def since(self) -> Floats:
        """Return the earliest time at which it may have answered each mark."""
        found: Floats = self.at() - self.field.width[self.fit.answers]
        return found


@dataclass(frozen=True)
class Fields:
    """The small fields of a trace, with all their changes behind each other so that they are weighed at once.

    Attributes:
        every: the fields, each with at least one change.
        first: where the changes of each begin, shape (fields,).
        at, width: of all changes, as in `Small`, shape (changes,).
        beforehand: the fields' weights beforehand, summed.
    """

    every: tuple[Small, ...]
    first: Integers
    at: Floats
    width: Floats
    beforehand: float
    _ways: dict[tuple[int, bool], tuple[Way, ...]] = field(default_factory=dict)

    @classmethod
    def of(cls, fields: Iterable[Small]) -> Fields:
        """Put fields behind each other."""
        every = tuple(fields)
        first = np.cumsum([0, *(len(one.at) for one in every)])[:-1]
        at = np.concatenate([np.empty(0), *(one.at for one in every)])
        width = np.concatenate([np.empty(0), *(one.width for one in every)])
        return cls(every, first, at, width, sum(map(_beforehand, every)))

    def answering(self, times: Floats, span_s: float, *, both: bool) -> list[Answering]:
        """Weigh the fields that answer at least half of the marks."""
        if not self.every:
            return []
        fewest = max(1, (len(times) + 1) // 2)
        found = []
        for begin, end in self._parts(len(times)):
            first = self.first[begin:end]
            last = self.first[end] if end < len(self.every) else len(self.at)
            changes = slice(first[0], last)
            densities = density(times[:, None] - self.at[None, changes], self.width[None, changes])
            answered = (np.maximum.reduceat(densities, first - first[0], axis=1) >= LEAST_DENSITY).sum(axis=0)
            for place in (np.flatnonzero(answered >= fewest) + begin).tolist():
                one, at = self.every[place], self.first[place] - first[0]
                own = densities[:, at : at + len(one.at)]
                answering = _weigh(one, self._ways_of(place, both=both), own, fewest, span_s)
                if answering is not None:
                    found.append(answering)
        return found

    def _parts(self, marks: int) -> Iterator[tuple[int, int]]:
        """Yield from which field to before which the changes are few enough to be held beside all marks at once."""
        begin = 0
        while begin < len(self.every):
            room = self.first[begin] + AT_ONCE // marks
            end = max(begin + 1, int(np.searchsorted(self.first, room)) - 1)
            if len(self.at) <= room:
                end = len(self.every)
            yield begin, end
            begin = end

    def _ways_of(self, place: int, *, both: bool) -> tuple[Way, ...]:
        """Return the ways in which a field may answer, worked out once."""
        if (place, both) not in self._ways:
            self._ways[place, both] = tuple(ways(self.every[place], both=both))
        return self._ways[place, both]


def _beforehand(small: Small) -> float:
    """Return the weight of a field before any mark is looked at."""
    flips = small.raw[1:] ^ small.raw[:-1]
    weight = RATHER_NOT if small.comes or bool((flips != flips[0]).any()) else 1.0
    return weight * (_of_both_sides(small) if small.across else 1.0) * (UNDER if small.select is not None else 1.0)


def _of_both_sides(small: Small) -> float:
    flips = small.raw[1:] ^ small.raw[:-1]
    low = (1 << 8 - place_of(small.bits).shift) - 1
    below, above = (flips & low) != 0, (flips & ~low) != 0
    together = 2 * int((below & above).sum()) >= min(int(below.sum()), int(above.sum()))
    return ACROSS_TOGETHER if together else ACROSS


def _weigh(small: Small, by: Iterable[Way], densities: Floats, fewest: int, span_s: float) -> Answering | None:
    """Weigh a field by all the ways in which it may answer; None if it leaves more than half of the marks alone."""
    weight, best = 0.0, None
    for way in by:
        one = fit(densities, way, span_s)
        if (one.answers >= 0).sum() >= fewest:
            part = way.share * float(np.exp(min(one.log_ratio, LARGEST)))
            weight += part
            if best is None or part > best[0]:
                best = part, one
    return Answering(small, best[1], _beforehand(small) * weight) if best else None
