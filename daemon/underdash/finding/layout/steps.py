"""What happened from frame to frame, and how many bits it takes to tell of it when and to what a run of bits changed.

All runs from one lowest bit are told together, since arithmetic on whole arrays is quick only where they are long. The
constants were chosen with those of `boundaries`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from ..heard import Flags, Floats, Integers, Numbers, Stream
from ..numbering import Numbering
from .codes import what, when

FEW = 10
"""Flips up to which a bit counts as moved by events of the car."""
RARE = 4
"""Flips up to which a bit makes a step count in full."""
TOGETHER = 0.35
"""What the moments of such steps count: an event of the car or of the sender moves fields together that are not one."""
TRUSTED = 50
"""Other steps that count in full. What comes after them resembles them, so that evidence grows with the root only."""
NOISE = 8.0
"""Bits it costs to take a run for one that takes any value alike, as a checksum by an unknown rule does (about 1 in 256
is meant so). Beside a byte that moves too, each of its bits costs so much, eight at most, about as much as flags: it
may be the low end of a number."""
BUSY, BUSY_COSTS = 0.1, 7.0
"""Share of the frames in which a flag seldom changes, and bits it costs if it does (1 in 100): the last bit of a number
does, no lamp and no switch of the recordings did, but for bits that turn over with each frame."""
MOST_STEPS, BLOCKS, BLOCK = 1250, 5, 125
"""Frames up to which all are looked at; with more, how many blocks of them and how many in a row."""


@dataclass(frozen=True, slots=True)
class Told:
    """What a run takes to tell in bits, what kind it is and whether it is signed."""

    bits: float
    kind: str
    signed: bool


FLAG = Told(0.0, "flag", False)
"""A bit that changed has nothing left to tell."""
Within = dict[int, list[Told]]
"""What the values of the runs within a byte take, shortest first, by lowest bit: the same for both byte orders."""


class Steps:
    """What happened from frame to frame, in positions of one numbering."""

    def __init__(self, stream: Stream, numbering: Numbering, known: Flags, within: Within) -> None:
        numbers = numbering.numbers(stream)
        free = [int(at) for at in np.flatnonzero(numbering.sort(stream.active & ~known))]
        flips = {at: int(_bit(numbers[1:] ^ numbers[:-1], at).sum()) for at in free}
        self._seldom = _mask(at for at in free if flips[at] <= FEW)
        rows = _telling(numbers, _rows(numbers, self._seldom), free)
        self._before, self._after = numbers[rows], numbers[rows + 1]
        self._moved = self._before ^ self._after
        self._rare = np.flatnonzero(self._moved & _mask(at for at in free if flips[at] <= RARE))
        self._weight = min(1.0, sqrt(TRUSTED / max(1, len(rows))))
        self._free, self._numbering, self._within = set(free), numbering, within

    def told(self, low: int, length: Integers) -> list[Told]:
        """Tell the runs of these lengths from one lowest bit upwards; each ends with the next bit that changes."""
        ones = (np.uint64(1) << length.astype(np.uint64)) - np.uint64(1)
        changed: Flags = (self._moved >> np.uint64(low) & ones[:, None]) != 0
        # a bit below that changes seldom changed too
        together: Flags = (self._moved & self._seldom & np.uint64((1 << low) - 1)) != 0
        rarely = when(changed[:, self._rare], together[self._rare])
        times = self._mixed(when(changed, together), TOGETHER * rarely)
        if changed[0].sum() > max(FEW, BUSY * changed.shape[1]):
            times[0] += BUSY_COSTS
        place = self._numbering.bit(low)
        values = self._within.get(place, [FLAG])
        if len(values) < len(length):
            values = values + self._values(low, changed[len(values) :], length[len(values) :], len(values) + 1)
        self._within[place] = values[: int((low % 8 + length <= 8).sum())]
        return [Told(one.bits + bits, one.kind, one.signed) for one, bits in zip(values, times.tolist(), strict=True)]

    def _values(self, low: int, changed: Flags, length: Integers, active: int) -> list[Told]:
        """Tell the values of runs, with `active` bits that change in the first and one more in each that follows."""
        runs = len(length)
        (run, row), (rare, few) = np.nonzero(changed), np.nonzero(changed[:, self._rare])
        row = np.concatenate((row, self._rare[few]))
        coded = what(
            (self._before >> np.uint64(low))[row],
            (self._after >> np.uint64(low))[row],
            np.concatenate((run, rare + runs)),
            length=np.concatenate((length, length)),
            active=active + np.arange(2 * runs) % runs,
            noise=np.array(2 * [self._noise(low, low + one) for one in length.tolist()]),
        )
        bits = self._mixed(coded.bits[:runs], coded.bits[runs:]).tolist()
        return list(map(Told, bits, coded.kind[:runs].tolist(), coded.signed[:runs].tolist()))

    def _noise(self, low: int, after: int) -> float:
        """Bits it costs to take a run for one that takes any value alike, as no part of what moves in a byte does."""
        if (low % 8 and low - 1 in self._free) or (after % 8 and after in self._free):
            return inf
        beside = {8 * (low // 8) - 8, after + -after % 8}
        return NOISE * min(8, after - low) if beside & self._free else NOISE

    def _mixed(self, every: Floats, rare: Floats) -> Floats:
        return self._weight * every + (1.0 - self._weight) * rare


def _rows(numbers: Numbers, seldom: np.uint64) -> Integers:
    """Which frames to look at, each with its next: all, or blocks of them and all where something rare happened."""
    count = len(numbers) - 1
    if count <= MOST_STEPS:
        return np.arange(max(0, count))
    starts = np.linspace(0, count - BLOCK, BLOCKS).astype(np.int64)
    blocks = (starts[:, None] + np.arange(BLOCK)).ravel()
    return np.union1d(blocks, np.flatnonzero((numbers[1:] ^ numbers[:-1]) & seldom))


def _telling(numbers: Numbers, rows: Integers, free: Sequence[int]) -> Integers:
    """Leave out steps at which most bits at once become all 0 or all 1: a sender has nothing to say, and no borders."""
    mask = _mask(free)
    after = numbers[rows + 1] & mask
    blank = np.flatnonzero((after == 0) | (after == mask))
    moved = (numbers[rows[blank]] & mask) ^ after[blank]
    flips = sum((_bit(moved, at) for at in free), np.zeros(len(blank), dtype=np.uint64))
    return np.delete(rows, blank[2 * flips >= len(free)])


def _mask(bits: Iterable[int]) -> np.uint64:
    return np.uint64(sum(1 << at for at in bits))


def _bit(numbers: Numbers, at: int) -> Numbers:
    return numbers >> np.uint64(at) & np.uint64(1)
