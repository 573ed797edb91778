"""Small fields that read the same whenever the ignition is in the same position, and when they change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ...contract.layout import Bits
from ..heard import Bytes, Flags, Floats, Integers, Stream, unpacked
from ..marks import LATEST_S, Mark
from .positions import DARK, LIT, RUNNING, SETTLED_S, Led, Stay

STILL = 0.1
"""Share of a stay that a bit may read otherwise: a person misses a mark now and then."""
EARLY_S = 0.1
MOST_BITS = 8


@dataclass(frozen=True)
class Turning:
    """A field that goes with the ignition.

    Attributes:
        stream: whose frames it is in.
        byte, low, high: where: bits of one byte, the least significant is 0.
        raws: what it reads in each position that it was sent in.
        at: when it changed at each turn, one fewer than stays; not a number where it did not change or did not come.
        width: how long before that it may have changed, since no frame came.
        missed: turns at which it ought to have changed and did not.
        odd: changes that no mark explains.
        answers: words of other deeds that it answers to.
    """

    stream: Stream
    byte: int
    low: int
    high: int
    raws: Mapping[str, int]
    at: Floats
    width: Floats
    missed: int
    odd: int
    answers: tuple[str, ...]

    @property
    def bits(self) -> Bits:
        """Where it is."""
        return Bits(self.byte, self.high - self.low + 1, self.high)

    @property
    def told_apart(self) -> int:
        """How many positions read differently, ON with a running engine counted as ON."""
        return len({raw for position, raw in self.raws.items() if position != RUNNING} | set(self._lit()[:1]))

    @property
    def start_is_dark(self) -> bool:
        """Whether it reads as if the ignition were off while the starter turns."""
        return self.raws.get("START") in {self.raws.get(position) for position in DARK} - {None}

    def _lit(self) -> list[int]:
        return [self.raws[position] for position in LIT if position in self.raws]


def turnings(stream: Stream, led: Led) -> Iterator[Turning]:
    """Yield the fields of one id that read otherwise with the ignition on than with it off.

    Bits that change within a stay, or read differently when a position comes again, are none of them.
    """
    means = _means(stream, led.stays)
    steady, by_position = _by_position(means, led.stays)
    dark = [position for position in by_position if position in DARK]
    lit = [position for position in by_position if position in LIT]
    if not dark or not lit:
        return
    table = np.array(list(by_position.values()))
    active = steady & (table.min(axis=0) != table.max(axis=0))
    for byte in sorted({int(bit) // 8 for bit in np.flatnonzero(active)}):
        here = slice(8 * byte, 8 * byte + 8)
        for low, high in _grown_runs(active[here], steady[here], unpacked(stream.data[:, byte : byte + 1])):
            raws = {
                position: int(bits[8 * byte + low : 8 * byte + high + 1] @ (1 << np.arange(high - low + 1)))
                for position, bits in by_position.items()
            }
            if not {raws[position] for position in lit} & {raws[position] for position in dark}:
                yield _turned(stream, led, (byte, low, high), raws)


def _means(stream: Stream, stays: Sequence[Stay]) -> Floats:
    """Return for which share of each stay each bit was set, shape (stays, bits); not a number where nothing came."""
    means = np.full((len(stays), 8 * stream.width), np.nan)
    for number, stay in enumerate(stays):
        first, last = np.searchsorted(stream.at, (stay.first, stay.last)).tolist()
        if stream.every_s is not None:
            if first < last:
                means[number] = unpacked(stream.data[first:last]).mean(axis=0)
        elif last > 0:  # what is sent on change goes on to hold
            first = max(0, first - 1)
            edges = np.append(np.maximum(stream.at[first:last], stay.first), stay.last)
            held = np.diff(edges)
            if held.sum() > 0 and stream.at[first] <= stay.last:
                means[number] = held @ unpacked(stream.data[first:last]) / held.sum()
    return means


def _by_position(means: Floats, stays: Sequence[Stay]) -> tuple[Flags, dict[str, Integers]]:
    """Return which bits are the same throughout each position, and what they are there."""
    steady = np.ones(means.shape[1], dtype=bool)
    by_position: dict[str, Integers] = {}
    for sure in (True, False):
        for stay, mean in zip(stays, means, strict=True):
            if stay.sure is not sure or np.isnan(mean).any():
                continue
            bits = (mean >= 0.5).astype(np.int64)
            if sure:
                steady &= np.abs(mean - bits) <= STILL
                steady &= bits == by_position.get(stay.position, bits)
            by_position.setdefault(stay.position, bits)
    return steady, by_position


def _runs(active: Flags, steady: Flags) -> Iterator[tuple[int, int]]:
    """Yield first and last bit of all runs within a byte that begin and end with an active bit and are steady."""
    for low in np.flatnonzero(active).tolist():
        for high in range(low, len(active)):
            if not steady[high]:
                break
            if active[high]:
                yield low, high


def _grown_runs(active: Flags, steady: Flags, bits: Bytes) -> set[tuple[int, int]]:
    """Return the runs, each with the bits beside it that only ever change together with it: it has values unmarked."""
    flips = bits[1:] != bits[:-1]
    moving = flips.any(axis=0)

    def grown(low: int, high: int) -> tuple[int, int]:
        still = ~flips[:, low : high + 1].any(axis=1)
        follows = moving & ~flips[still].any(axis=0)
        while low > 0 and follows[low - 1]:
            low -= 1
        while high < len(follows) - 1 and follows[high + 1]:
            high += 1
        return low, high

    return {grown(low, high) for low, high in _runs(active, steady)}


def _turned(stream: Stream, led: Led, place: tuple[int, int, int], raws: Mapping[str, int]) -> Turning:
    byte, low, high = place
    stays = led.stays
    there = np.flatnonzero(stream.length > byte)
    raw = stream.data[there, byte].astype(np.int64) >> low & (1 << high - low + 1) - 1
    rows = np.flatnonzero(np.diff(raw)) + 1
    at, after = stream.at[there[rows]], raw[rows]
    width = at - stream.at[there[rows - 1]] if stream.every_s is not None else np.zeros(len(rows))
    turns = np.array(led.turns)
    near = _near(at, width, turns)
    turned_at, turned_width = np.full((2, len(stays) - 1), np.nan)
    missed = 0
    for turn, (before, stay) in enumerate(pairwise(stays)):
        wanted = raws.get(stay.position)
        if wanted is None or raws.get(before.position, wanted) == wanted:
            continue
        found = np.flatnonzero(_near(at, width, np.array([stay.begin]))[:, 0] & (after == wanted))
        if len(found):
            turned_at[turn], turned_width[turn] = at[found[0]], width[found[0]]
        else:
            missed += 1
    free = np.logical_not(near.any(axis=1))
    answers, explained = _answers(at, width, free, led.others, turns)
    odd = int((free & ~explained).sum()) + _contrary(at, width, after, led, raws)
    return Turning(stream, byte, low, high, raws, turned_at, turned_width, missed, odd, answers)


def _near(at: Floats, width: Floats, turns: Floats) -> Flags:
    """Say which changes belong to which turns, shape (changes, turns)."""
    near: Flags = (at[:, None] >= turns - LATEST_S - EARLY_S) & ((at - width)[:, None] <= turns + SETTLED_S)
    return near


def _contrary(at: Floats, width: Floats, after: Integers, led: Led, raws: Mapping[str, int]) -> int:
    """Count changes to what means off while it is turned from one position that is on to another, and the reverse."""
    sides = [stay.position in LIT for stay in led.stays]
    same = {
        stay.begin: lit for stay, lit, before in zip(led.stays[1:], sides[1:], sides, strict=False) if lit is before
    }
    elsewhere = _near(at, width, np.array([turn for turn in led.turns if turn not in same])).any(axis=1)
    count = 0
    for turn, lit in same.items():
        wrong = [raws[position] for position in (DARK if lit else LIT) if position in raws]
        count += int((_near(at, width, np.array([turn]))[:, 0] & ~elsewhere & np.isin(after, wrong)).sum())
    return count


def _answers(
    at: Floats, width: Floats, free: Flags, others: Mapping[str, Sequence[Mark]], turns: Floats
) -> tuple[tuple[str, ...], Flags]:
    """Say which other deeds a field answers to, and which of its changes they explain."""
    explained = np.zeros(len(at), dtype=bool)
    answered = []
    for word, marks in others.items():
        hits = clear = 0
        for mark in marks:
            begin, end = mark.begin - LATEST_S - EARLY_S, mark.last + SETTLED_S
            if ((turns > begin - SETTLED_S) & (turns < end + LATEST_S)).any():
                continue  # the ignition was turned at the same time
            within = free & (at >= begin) & (at - width <= end)
            explained |= within
            clear += 1
            hits += bool(within.any())
        if clear and 2 * hits >= clear:
            answered.append(word)
    return tuple(answered), explained
