"""Counters: bits that step by one, frame after frame or every so many frames, and tell nothing about the car."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contract.layout import Bits
from ..heard import Flags, Integers, Stream
from ..numbering import Numbering

FEWEST_STEPS = 6
"""Steps seen before anything is called a counter."""
FEWEST_VALUES = 3
"""Values that one not counting every frame must run through: two are any switch that is moved in time."""
STEADY = 0.95
"""Share of the steps that must be by one: what repeated and lost frames leave of it."""
REGULAR = 0.9
"""Share of the steps that must come as far apart as most do."""
CHANCE = 0.01
"""Largest chance at which a bit above a counter may flip by itself whenever the bits below it wrap."""
CARRIED = 0.6
"""Share of the flips at which the bit below falls, from which on it counts as carrying over; by accident it is 1/4."""
LASTS = 0.5
"""Share of the recording that a counter must go on for: a sender may sleep, but what moved for a while is none."""
LONGEST, MOST_STEP = 32, 15
"""Bits of a counter, and what it moves by at most: a larger step is two counters beside each other."""

Numbers = NDArray[np.uint64]


@dataclass(frozen=True, slots=True)
class Count:
    """A counter.

    Attributes:
        bits: where it is.
        first, last: the values it runs through before it starts again.
        share: of its steps, how many are by one.
        step: what it moves by, almost always 1.
        every: frames from step to step, 1 for one that counts frames.
        began_again: whether it was seen to; one that was not may be a clock, or a distance.
    """

    bits: Bits
    first: int
    last: int
    step: int
    share: float
    every: int
    began_again: bool = True

    def __str__(self) -> str:
        """Say what it does: ``counts every frame, 0 to 15``."""
        pace = "every frame" if self.every == 1 else f"every {self.every} frames"
        by = "" if self.step == 1 else f" by {self.step}"
        if not self.began_again:
            return f"counts{by} {pace}, and never began again here: it may be a clock"
        return f"counts{by} {pace}, {self.first} to {self.last}"


def counters(stream: Stream) -> tuple[Count, ...]:
    """Find the counters of one id; of two that overlap in the two byte orders, the longer.

    A bit that flips with every frame is a counter of one bit. A field above it belongs to it as long as each bit
    flips only when all below it wrap.
    """
    if len(stream) <= FEWEST_STEPS:
        return ()
    found: list[tuple[int, Count, frozenset[int]]] = []
    for numbering in (Numbering(stream.width, big=False), Numbering(stream.width, big=True)):
        numbers = numbering.numbers(stream)
        for low in np.flatnonzero(numbering.sort(stream.active)):
            one = _from(numbering, numbers, int(low))
            if one is not None:
                found.append((one.bits.length, one, frozenset(numbering.run(int(low), one.bits.length))))
    taken: set[int] = set()
    kept: list[Count] = []
    for _, one, run in sorted(found, key=lambda entry: -entry[0]):
        if not run & taken:
            taken |= run
            kept.append(one)
    return tuple(sorted(kept, key=lambda one: (one.bits.byte, one.bits.bit or 0)))


def _from(numbering: Numbering, numbers: Numbers, low: int) -> Count | None:
    """Find the longest counter that has its least significant bit at `low`."""
    every = _pace((numbers >> np.uint64(low)) & np.uint64(1))
    if every is None or (low and _carried((numbers >> np.uint64(low - 1)) & np.uint64(3))):
        return None
    best = None
    for length in range(1, min(LONGEST, numbering.length - low) + 1):
        value = ((numbers >> np.uint64(low)) & np.uint64((1 << length) - 1)).astype(np.int64)
        seen = _steps(value, length)
        if seen is not None and (every == 1 or seen[1] - seen[0] >= FEWEST_VALUES - 1):
            best = Count(numbering.bits(low, length), *seen[:-1], every, seen[-1])
    return best


def _pace(bit: Numbers) -> int | None:
    """Frames from flip to flip; None where they come too seldom or not regularly."""
    flips = np.flatnonzero(bit[1:] != bit[:-1])
    if len(flips) < FEWEST_STEPS:
        return None
    apart = np.diff(flips)
    usual = int(np.median(apart))
    close = np.abs(apart - usual) <= max(0 if usual == 1 else 1, usual // 5)
    lasting = len(flips) * usual >= LASTS * len(bit)
    return usual if lasting and float(close.mean()) >= REGULAR else None


def _carried(two: Numbers) -> bool:
    """Whether the upper of two bits flips only when the lower falls: then a number begins further down."""
    flips = np.flatnonzero((two[1:] ^ two[:-1]) & np.uint64(2))
    falls = (two[:-1][flips] & np.uint64(1) == 1) & (two[1:][flips] & np.uint64(1) == 0)
    return len(flips) > 0 and float(falls.mean()) >= CARRIED


def _steps(value: Integers, length: int) -> tuple[int, int, int, float, bool] | None:
    """Return first and last value, step, its share and whether it began again, if this counts up to its top bit.

    A wrap from the highest value seen to the lowest is a step by one too. The top bit is one of its own only if it
    flips in such steps, and often enough that this cannot be an accident.
    """
    before, after = value[:-1], value[1:]
    lowest, highest = int(value.min()), int(value.max())
    steps = (after - before) & ((1 << length) - 1)
    moved = steps != 0
    if not moved.any():
        return None
    kinds, counts = np.unique(steps[moved], return_counts=True)
    step = int(kinds[counts.argmax()])
    step -= (step >> (length - 1) << length) if length > 1 else 0
    if abs(step) > MOST_STEP or step % 2 == 0:  # an even step leaves the lowest bit still: it moved by itself
        return None
    wrapped = (before == highest) & (after == lowest) & (step == 1) & (highest - lowest >= FEWEST_VALUES - 1)
    good = (steps == step & (1 << length) - 1) | wrapped
    top = (before ^ after) >> (length - 1) != 0
    flips = int(top.sum())
    if float(good[moved].mean()) < STEADY or not flips or float(good[top].mean()) < STEADY:
        return None
    if length > 1 and 0.5 ** ((length - 1) * flips) > CHANCE:
        return None
    first, last = (lowest, highest) if wrapped.any() else (0, (1 << length) - 1)
    again = bool((moved & ((after < before) == (step > 0))).any())
    return first, last, step, float(good[moved].mean()), again


def bits_of(counts: tuple[Count, ...], stream: Stream) -> Flags:
    """Return which bits of the stream's payload belong to these counters, shape (8 * width,)."""
    mask = np.zeros(8 * stream.width, dtype=bool)
    for one in counts:
        mask[list(Numbering.run_of(one.bits, stream.width))] = True
    return mask
