"""How a field moved while something was turned from end to end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...contract.layout import Bits
from ..heard import Floats
from ..like.lanes import Lane
from .sweeps import Sweep, moving

STRAIGHT = 0.8
"""A field follows a sweep if so much of its movement goes one way."""

FAR = 0.6
"""It has to come so far, as part of the widest it ever went: a hand does not always reach the end."""


@dataclass(frozen=True, eq=False)
class Stroke:
    """A field that moves in sweeps.

    Attributes:
        lane, bits, numbers: where it is.
        followed, missed: sweeps that it followed, and those it did not.
        straight: how much of its movement in those it followed went one way, 0 to 1.
        restless: how much it moved in the quiet, as part of its movement in sweeps.
        down, up: what it reads at both ends; turned down and up where the marks say so, else low and high.
        known: whether they say so.
        steps: values that it took.
        begins: when it began to move in each sweep, seconds after the mark; not a number where it did not.
    """

    lane: Lane
    bits: Bits
    numbers: frozenset[int]
    followed: int
    missed: int
    straight: float
    restless: float
    down: int
    up: int
    known: bool
    steps: int
    begins: Floats


@dataclass(frozen=True)
class _Part:
    """One sweep of a field: where it began, came to at the furthest, and ended; and all it moved."""

    sweep: Sweep
    first: float
    far: float
    last: float
    moved: float
    begins: float
    values: frozenset[int]

    @property
    def reach(self) -> float:
        return (self.far if self.sweep.way == 0 else self.last) - self.first

    @property
    def straight(self) -> float:
        """Part of the movement that goes towards the far end, and back where it may."""
        if not self.moved:
            return 0.0
        path = abs(self.far - self.first) + abs(self.last - self.far) if self.sweep.way == 0 else abs(self.reach)
        return path / self.moved


def judged(
    lane: Lane, bits: Bits, numbers: frozenset[int], sweeps: Sequence[Sweep], every: Sequence[Sweep]
) -> Stroke | None:
    """Return how a field moved; None where it did not."""
    raw = lane.raw(bits).astype(np.float64)
    parts = [_part(lane, raw, sweep) for sweep in sweeps]
    widest = max(abs(part.reach) for part in parts)
    if widest == 0:
        return None
    sign = 1.0 if sum(part.sweep.way * part.reach for part in parts) >= 0 else -1.0
    good = [part for part in parts if _follows(part, widest, sign)]
    step = np.abs(np.diff(raw))
    own, quiet = step[moving(lane.at, sweeps)].sum(), step[~moving(lane.at, every)].sum()
    down, up, known = _ends(good, sign)
    return Stroke(
        lane,
        bits,
        numbers,
        len(good),
        len(parts) - len(good),
        float(np.mean([part.straight for part in good])) if good else 0.0,
        float(quiet / own) if own else 1.0,
        down,
        up,
        known,
        len(frozenset().union(*(part.values for part in good))),
        np.array([part.begins for part in parts]),
    )


def _follows(part: _Part, widest: float, sign: float) -> bool:
    way = part.sweep.way
    right = way == 0 or sign * way * part.reach > 0
    return right and part.straight >= STRAIGHT and abs(part.reach) >= FAR * widest


def _part(lane: Lane, raw: Floats, sweep: Sweep) -> _Part:
    begin, end = np.searchsorted(lane.at, [sweep.first, sweep.last]).tolist()
    seen = raw[max(begin - 1, 0) : end]
    if not len(seen):
        return _Part(sweep, 0.0, 0.0, 0.0, 0.0, np.nan, frozenset())
    steps = np.abs(np.diff(seen))
    far = float(seen[np.abs(seen - seen[0]).argmax()])
    changed = np.flatnonzero(steps)
    begins = float(lane.at[max(begin - 1, 0) + changed[0] + 1] - sweep.begin) if len(changed) else np.nan
    values = frozenset(seen.astype(np.int64).tolist())
    return _Part(sweep, float(seen[0]), far, float(seen[-1]), float(steps.sum()), begins, values)


def _ends(good: Sequence[_Part], sign: float) -> tuple[int, int, bool]:
    values = [value for part in good for value in part.values]
    if not values:
        return 0, 0, False
    low, high = min(values), max(values)
    known = any(part.sweep.way for part in good)
    return (low, high, known) if sign > 0 else (high, low, known)
