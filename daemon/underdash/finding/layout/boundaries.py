"""Where the fields of a frame begin and end: the cut of its bits that tells the recording in the fewest bits.

For one byte order the bits stand in a row (`numbering`), and a cut into runs costs what each run takes to tell
(`codes`) plus how unusual its borders are. The cheapest cut is found by dynamic programming over the bits that ever
change; the same sums tell how likely each field of it is. Bits that never change are not cut: they cost where they lie
within a field. Counters and checksums (`protection`) are fields of their own and are known before.

The constants were chosen on two recordings (a hatchback switched on and off, a highway drive), beginning from the
frequencies of borders in descriptions of both cars.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import exp, inf, log, log2, sqrt

import numpy as np
from numpy.typing import NDArray

from ..heard import Flags, Integers, Stream
from ..numbering import Numbering
from .codes import Coded, what, when
from .protection import Protection

BESIDE = 0.7, 0.1, 0.02
"""How likely a border is between two bits beside each other that both change: where a byte ends, where half a byte
does, and elsewhere."""
APART = 0.9, 0.15, 0.15
"""The same with bits between them that never change."""
LONGEST, LONG = 32, 16
"""Bits of the longest field that is looked for, and from which on one begins with a byte (common practice)."""
FEW = 10
"""Flips up to which a bit counts as moved by events of the car."""
RARE = 4
"""Flips up to which a bit makes a step count in full."""
TOGETHER = 0.35
"""What the moments of such steps count: an event of the car or of the sender moves fields together that are not one."""
TRUSTED = 50
"""Other steps that count in full. What comes after them resembles them, so that evidence grows with the root only."""
MOST_STEPS, BLOCKS, BLOCK = 1250, 5, 125
"""Frames up to which all are looked at; with more, how many blocks of them and how many in a row."""

Numbers = NDArray[np.uint64]
_Told = dict[tuple[int, int], Coded]
"""What runs within a byte take to tell, by lowest bit and length: the same for both byte orders."""


@dataclass(frozen=True, slots=True)
class Part:
    """A field found: a run of positions in a numbering, from its lowest to its highest bit that changes.

    Attributes:
        low, length: positions.
        kind: ``flag``, ``choice``, ``number``, ``counter`` or ``checksum``.
        signed: whether the number passes 0.
        confidence: how likely it begins and ends there, given the byte order.
    """

    low: int
    length: int
    kind: str
    signed: bool = False
    confidence: float = 1.0


@dataclass(frozen=True, slots=True)
class Cut:
    """The bits of a frame cut into fields, for one byte order; `cost` in bits compares it with the other order."""

    numbering: Numbering
    parts: tuple[Part, ...]
    cost: float


class _Steps:
    """What happened from frame to frame, in positions of one numbering."""

    def __init__(self, stream: Stream, numbering: Numbering, known: Flags, told: _Told) -> None:
        numbers = numbering.numbers(stream)
        free = [int(at) for at in np.flatnonzero(numbering.sort(stream.active & ~known))]
        flips = {at: int(_bit(numbers[1:] ^ numbers[:-1], at).sum()) for at in free}
        self._seldom = _mask(at for at in free if flips[at] <= FEW)
        rows = _telling(numbers, _rows(numbers, self._seldom), free)
        self._before, self._after = numbers[rows], numbers[rows + 1]
        self._moved = self._before ^ self._after
        self._rare = np.flatnonzero(self._moved & _mask(at for at in free if flips[at] <= RARE))
        self._weight = min(1.0, sqrt(TRUSTED / max(1, len(rows))))
        self._numbering, self._told = numbering, told

    def cost(self, low: int, length: int, active: int, together: Flags) -> tuple[float, str, bool]:
        """Bits it takes to tell the run, its kind, and whether it is signed."""
        changed = (self._moved >> np.uint64(low) & np.uint64((1 << length) - 1)) != 0
        place = self._numbering.bit(low), length
        coded = self._told.get(place)
        if coded is None:
            coded = self._what(np.flatnonzero(changed), low, length, active)
            full = self._what(self._rare[changed[self._rare]], low, length, active)
            coded = replace(coded, bits=self._mixed(coded.bits, full.bits))
            if low // 8 == (low + length - 1) // 8:
                self._told[place] = coded
        rare = when(changed[self._rare], together[self._rare])
        return self._mixed(when(changed, together), TOGETHER * rare) + coded.bits, coded.kind, coded.signed

    def _mixed(self, every: float, rare: float) -> float:
        return self._weight * every + (1.0 - self._weight) * rare

    def _what(self, rows: Integers, low: int, length: int, active: int) -> Coded:
        ones = np.uint64((1 << length) - 1)
        before, after = (
            (numbers[rows] >> np.uint64(low) & ones).astype(np.int64) for numbers in (self._before, self._after)
        )
        return what(before, after, length, active)

    def together(self, low: int) -> Flags:
        """Whether a bit below that changes seldom changed, for each step."""
        moved: Flags = (self._moved & self._seldom & np.uint64((1 << low) - 1)) != 0
        return moved


def cuts(stream: Stream, protection: Protection) -> tuple[Cut, Cut]:
    """Cut the bits of one id, little-endian and big-endian."""
    told: _Told = {}
    little = _cut(stream, protection, Numbering(stream.width, big=False), told)
    moving: Flags = (stream.active & ~protection.bits(stream)).reshape(-1, 8).max(axis=1, initial=False)
    if not (moving[1:] & moving[:-1]).any():
        # no field could reach from byte to byte, and within one both orders are the same
        return little, little
    return little, _cut(stream, protection, Numbering(stream.width, big=True), told)


def _cut(stream: Stream, protection: Protection, numbering: Numbering, told: _Told) -> Cut:
    known = _known(protection, numbering)
    mask = protection.bits(stream)
    active = [int(at) for at in np.flatnonzero(numbering.sort(stream.active))]
    if not active:
        return Cut(numbering, (), 0.0)
    steps = _Steps(stream, numbering, mask, told)
    runs = _runs(active, known, steps)
    return Cut(numbering, *_cheapest(runs, active))


@dataclass(frozen=True, slots=True)
class _Run:
    first: int
    after: int
    cost: float
    kind: str
    signed: bool


def _runs(active: list[int], known: dict[int, tuple[str, int]], steps: _Steps) -> list[list[_Run]]:
    """All runs that may be a field, by the index of their first bit among the active ones."""
    border = [_border(low, high) for low, high in pairwise(active)]
    out: list[list[_Run]] = []
    for first, low in enumerate(active):
        owner = known.get(low)
        if owner is not None:
            after = first + 1
            while after < len(active) and known.get(active[after]) == owner:
                after += 1
            out.append([_Run(first, after, 0.0, owner[0], False)])
            continue
        together = steps.together(low)
        paid = -log2(border[first - 1]) if first and active[first - 1] not in known else 0.0
        row = []
        for after in range(first + 1, len(active) + 1):
            length = active[after - 1] - low + 1
            if active[after - 1] in known or length > (LONG if low % 8 else LONGEST):
                break
            if after > first + 1:
                paid -= log2(1.0 - border[after - 2])
            cost, kind, signed = steps.cost(low, length, after - first, together)
            row.append(_Run(first, after, cost + paid, kind, signed))
        out.append(row)
    return out


def _cheapest(runs: list[list[_Run]], active: list[int]) -> tuple[tuple[Part, ...], float]:
    """Return the parts of the cheapest cut, each with its share among all cuts, and what it costs."""
    count = len(active)
    best, forward, backward = [0.0] + [inf] * count, [0.0] + [inf] * count, [inf] * count + [0.0]
    chosen: list[_Run | None] = [None] * (count + 1)
    for row in runs:
        for run in row:
            forward[run.after] = _either(forward[run.after], forward[run.first] + run.cost)
            if best[run.first] + run.cost < best[run.after]:
                best[run.after], chosen[run.after] = best[run.first] + run.cost, run
    for row in reversed(runs):
        for run in row:
            backward[run.first] = _either(backward[run.first], run.cost + backward[run.after])
    parts = []
    at = count
    while (last := chosen[at]) is not None:
        share = 2.0 ** min(0.0, forward[count] - forward[last.first] - last.cost - backward[last.after])
        low = active[last.first]
        parts.append(Part(low, active[last.after - 1] - low + 1, last.kind, last.signed, share))
        at = last.first
    return tuple(reversed(parts)), best[count]


def _either(a: float, b: float) -> float:
    """Bits of the two together, as their probabilities add."""
    least, most = min(a, b), max(a, b)
    return least if most == inf else least - log2(1.0 + exp((least - most) * log(2.0)))


def _known(protection: Protection, numbering: Numbering) -> dict[int, tuple[str, int]]:
    """Positions that belong to counters and checksums, with what they are and which."""
    places = [("counter", one.bits) for one in protection.counts]
    places += [("checksum", one.bits) for one in (protection.checksum,) if one is not None]
    places += [("checksum", one) for one in (protection.unexplained,) if one is not None]
    at = {numbering.bit(position): position for position in range(numbering.length)}
    return {
        at[bit]: (kind, number)
        for number, (kind, bits) in enumerate(places)
        for bit in Numbering.run_of(bits, numbering.width)
    }


def _border(low: int, high: int) -> float:
    """How likely a border is somewhere between two positions that change, none between them."""
    place = 0 if low // 8 != high // 8 else 1 if low // 4 != high // 4 else 2
    if high == low + 1:
        return BESIDE[place]
    return APART[place] if high // 8 - low // 8 < 2 else 1.0 - (1.0 - APART[0]) ** 2


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
