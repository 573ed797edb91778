"""Levels: a byte that gathers in a few narrow ranges set well apart, as a ladder of resistors does that is sent raw.

Each button of such a ladder pulls the byte to a range of its own; within a range it flickers, so that its low bits
change as often as those of a measured number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .heard import Bytes, Integers

FEWEST, MOST = 3, 10
"""Ranges that a ladder has: at rest and at two buttons at least; with two, a flag beside a small number looks alike."""
OFTEN = 0.25
"""It flickers if of the frames that stay in a range this share differs from the one before (our choice)."""


@dataclass(frozen=True)
class Levels:
    """The ranges of a byte.

    Attributes:
        ranges: lowest and highest number seen of each, ascending.
        usual: for each number of a byte that lies in a range the one seen most often in it, shape (256,).
    """

    ranges: tuple[tuple[int, int], ...]
    usual: Integers


def levels_of(column: Bytes) -> Levels | None:
    """Return the ranges in which a byte gathers: each narrower than any two are apart, and the byte flickers in them.

    Args:
        column: what the byte read, in the order of the frames, shape (frames,).

    Returns:
        None of a byte that has no such ranges, or whose own bits spell them, so that each tells something by itself.
    """
    seen = np.bincount(column, minlength=256)
    values = np.flatnonzero(seen)
    gaps = np.diff(values)
    widest = np.argsort(-gaps, kind="stable")
    for cuts in range(min(MOST - 1, len(gaps) - 1), FEWEST - 2, -1):
        cut = np.sort(widest[:cuts])
        low, high = values[[0, *cut + 1]], values[[*cut, -1]]
        if gaps[widest[cuts - 1]] > (high - low).max():
            found = _levels(seen, low, high)
            return found if _flickers(column, found) and not _beside(low, high) else None
    return None


def _beside(low: Integers, high: Integers) -> bool:
    """Whether it is a code in the upper bits beside lower ones that flicker through all that they can spell."""
    lower = (1 << max(int(one).bit_length() for one in low ^ high)) - 1
    return bool((high - low).max() == lower)


def _levels(seen: Integers, low: Integers, high: Integers) -> Levels:
    ranges = tuple(zip(low.tolist(), high.tolist(), strict=True))
    usual = np.arange(256)
    for first, last in ranges:
        usual[first : last + 1] = first + int(seen[first : last + 1].argmax())
    return Levels(ranges, usual)


def _flickers(column: Bytes, levels: Levels) -> bool:
    """Whether it moves within ranges more often than from one to another, or in many of the frames that stay in one."""
    level = levels.usual[column]
    stays = level[1:] == level[:-1]
    within = np.count_nonzero(stays & (column[1:] != column[:-1]))
    return bool(within > np.count_nonzero(~stays) or within >= OFTEN * np.count_nonzero(stays))
