"""Where the fields of a frame begin and end: the cut of its bits that tells the recording in the fewest bits.

For one byte order the bits stand in a row (`numbering`), and a cut into runs costs what each run takes to tell
(`steps`) plus how unusual its borders are. The cheapest cut is found by dynamic programming over the bits that ever
change; the same sums tell how likely each field of it is. Bits that never change are not cut: they cost where they lie
within a field. Counters and checksums (`protection`) are fields of their own and are known before.

The constants were chosen on two recordings (a hatchback switched on and off, a highway drive), beginning from the
frequencies of borders in descriptions of both cars.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import exp, inf, log, log2

import numpy as np

from ..heard import Flags, Stream
from ..numbering import Numbering
from .codes import LONGEST
from .protection import Protection
from .steps import Steps, Within

BESIDE = 0.7, 0.1, 0.02
"""How likely a border is between two bits beside each other that both change: where a byte ends, where half a byte
does, and elsewhere."""
APART = 0.9, 0.15, 0.15
"""The same with bits between them that never change."""
LONG = 16
"""Bits from which on a field begins with a byte (common practice)."""


@dataclass(frozen=True, slots=True)
class Part:
    """A field found: a run of positions in a numbering, from its lowest to its highest bit that changes.

    Attributes:
        low, length: positions.
        kind: ``flag``, ``choice``, ``number``, ``noise``, ``counter`` or ``checksum``.
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


def cuts(stream: Stream, protection: Protection) -> tuple[Cut, Cut]:
    """Cut the bits of one id, little-endian and big-endian."""
    within: Within = {}
    little = _cut(stream, protection, Numbering(stream.width, big=False), within)
    moving: Flags = (stream.active & ~protection.bits(stream)).reshape(-1, 8).max(axis=1, initial=False)
    if not (moving[1:] & moving[:-1]).any():
        # no field could reach from byte to byte, and within one both orders are the same
        return little, little
    return little, _cut(stream, protection, Numbering(stream.width, big=True), within)


def _cut(stream: Stream, protection: Protection, numbering: Numbering, within: Within) -> Cut:
    known = _known(protection, numbering)
    mask = protection.bits(stream)
    active = [int(at) for at in np.flatnonzero(numbering.sort(stream.active))]
    if not active:
        return Cut(numbering, (), 0.0)
    steps = Steps(stream, numbering, mask, within)
    runs = _runs(active, known, steps)
    return Cut(numbering, *_cheapest(runs, active))


@dataclass(frozen=True, slots=True)
class _Run:
    first: int
    after: int
    cost: float
    kind: str
    signed: bool


def _runs(active: list[int], known: dict[int, tuple[str, int]], steps: Steps) -> list[list[_Run]]:
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
        paid = -log2(border[first - 1]) if first and active[first - 1] not in known else 0.0
        last, longest = first + 1, LONG if low % 8 else LONGEST
        while last < len(active) and active[last] not in known and active[last] - low < longest:
            last += 1
        row = []
        for after, told in enumerate(steps.told(low, np.array(active[first:last]) - low + 1), first + 1):
            if after > first + 1:
                paid -= log2(1.0 - border[after - 2])
            row.append(_Run(first, after, told.bits + paid, told.kind, told.signed))
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
