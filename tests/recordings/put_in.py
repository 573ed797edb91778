"""Buttons of many kinds put into recordings of real cars: real traffic, a made-up button."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from underdash.finding.found import Candidate
from underdash.finding.heard import Bytes, Flags, Floats, Heard, Integers, Stream
from underdash.finding.numbering import Numbering
from underdash.finding.reading import read_heard

RECORDINGS = Path(__file__).parents[3] / "shared" / "recordings"
NEW_ID = 0x6F1
APART_S = 0.4


@cache
def recording(trace: str) -> Heard:
    return read_heard(RECORDINGS / f"{trace}.log.gz")


@dataclass(frozen=True)
class PutIn:
    """A recording with a button in it: in which id, and in which bits of its payload; None where its coming tells."""

    heard: Heard
    stream: Stream
    bits: frozenset[int] | None

    def reads_alone(self, one: Candidate, word: str, held: Flags) -> bool:
        """Whether its numbers mean the word in those frames in which that button is held, and in no other."""
        on = [raw for raw, text in one.meaning.items() if text == word]
        if not on or one.where.select is not None or not self.is_it(one) or one.where.comes:
            return False
        return bool((np.isin(self.stream.raw(one.where.bits), on) == held).all())

    def is_it(self, one: Candidate) -> bool:
        where = one.where
        if (where.bus, where.id, where.extended) != (self.stream.bus, self.stream.id, self.stream.extended):
            return False
        return where.comes or (self.bits is not None and bool(self.bits & {*Numbering.run_of(where.bits, 8)}))


class Bench:
    """A recording, when a button is pressed in it, and when two others are that nobody marks."""

    def __init__(self, heard: Heard, random: np.random.Generator, presses: int) -> None:
        self.heard, self.random = heard, random
        every = np.zeros(2)
        while np.diff(every).min() < APART_S:
            every = np.sort(random.uniform(heard.begin + 1, heard.end - 2, 2 * presses))
        own = np.sort(random.permutation(2 * presses)[:presses])
        self.times, self.others = every[own], np.delete(every, own)
        self.hold_s = float(random.uniform(0.15, 0.6))

    def down(self, at: Floats, times: Floats, hold_s: float) -> Flags:
        since = at - times[np.maximum(np.searchsorted(times, at, side="right") - 1, 0)]
        return (since >= 0) & (since < hold_s)

    def code(self, stream: Stream, own: int, first: int = 0, second: int = 0, rest: int = 0) -> Integers:
        """What a field reads that is `own` while the button is held, and otherwise while others are."""
        raw = np.full(len(stream), rest)
        hold_s = self.hold_s + (stream.period_s or 0.0)
        raw[self.down(stream.at, self.times, hold_s)] = own
        if first:
            raw[self.down(stream.at, self.others[::2], hold_s)] = first
            raw[self.down(stream.at, self.others[1::2], hold_s)] = second
        return raw

    def still(self, runs: Callable[[int], list[tuple[int, ...]]]) -> tuple[Stream, tuple[int, ...]]:
        """Choose an id that is sent often, and of the runs for its width one that never moves in it."""
        usual = (one for one in self.heard if len(one) >= 20 and (one.period_s or 9) <= 1.1 and one.width <= 8)
        found = [(one, [run for run in runs(one.width) if not one.active[list(run)].any()]) for one in usual]
        found = [(one, some) for one, some in found if some]
        stream, some = found[int(self.random.integers(len(found)))]
        return stream, some[int(self.random.integers(len(some)))]

    def written(self, stream: Stream, run: tuple[int, ...], raw: Integers) -> PutIn:
        data = stream.data.copy()
        for n, bit in enumerate(run):
            data[:, bit // 8] &= np.uint8(0xFF ^ 1 << bit % 8)
            data[:, bit // 8] |= (raw >> n & 1).astype(np.uint8) << np.uint8(bit % 8)
        moved = replace(stream, data=data)
        streams = tuple(moved if one is stream else one for one in self.heard)
        return PutIn(replace(self.heard, streams=streams), moved, frozenset(run))

    def added(self, at: Floats, data: Bytes, bits: frozenset[int] | None) -> PutIn:
        length = np.full(len(at), data.shape[1], np.uint8)
        new = Stream(self.heard.streams[0].bus, NEW_ID, False, at, length, data)
        return PutIn(replace(self.heard, streams=(*self.heard.streams, new)), new, bits)

    def clocked(self, period_s: float) -> Floats:
        begin = self.heard.begin + self.random.uniform(0, period_s)
        return np.arange(begin, self.heard.end, period_s)


def bits(width: int) -> list[tuple[int, ...]]:
    return [(bit,) for bit in range(8 * width)]


def halves(width: int) -> list[tuple[int, ...]]:
    return [tuple(range(low, low + 4)) for low in range(0, 8 * width, 4)]


def whole(width: int) -> list[tuple[int, ...]]:
    return [tuple(range(low, low + 8)) for low in range(0, 8 * width, 8)]


def borders(width: int) -> list[tuple[int, ...]]:
    """Four bits over a border, in either byte order."""
    found = (Numbering(width, big).run(low, 4) for big in (False, True) for low in range(8 * width - 3))
    return [run for run in found if run[0] // 8 != run[-1] // 8]


def held(bench: Bench) -> PutIn:
    stream, run = bench.still(bits)
    return bench.written(stream, run, bench.code(stream, 1))


def turned(bench: Bench) -> PutIn:
    stream, run = bench.still(bits)
    return bench.written(stream, run, np.searchsorted(bench.times, stream.at) % 2)


def count(bench: Bench) -> PutIn:
    stream, run = bench.still(halves)
    begun = int(bench.random.integers(16))
    return bench.written(stream, run, (np.searchsorted(bench.times, stream.at) + begun) % 16)


def code(bench: Bench, runs: Callable[[int], list[tuple[int, ...]]] = halves) -> PutIn:
    stream, run = bench.still(runs)
    own, first, second = bench.random.permutation(np.arange(1, 8))[:3].tolist()
    return bench.written(stream, run, bench.code(stream, own, first, second))


def border(bench: Bench) -> PutIn:
    return code(bench, borders)


def ladder(bench: Bench) -> PutIn:
    """A level that tells which button, read a step too high or too low now and then."""
    stream, run = bench.still(whole)
    own, first, second = bench.random.permutation([0x1A, 0x3A, 0x62, 0x8C, 0xB5])[:3].tolist()
    noise = bench.random.integers(-1, 2, len(stream))
    return bench.written(stream, run, bench.code(stream, own, first, second, rest=0xFE) + noise)


def three(bench: Bench, *, noisy: bool) -> tuple[PutIn, dict[str, Flags]]:
    """Three buttons in one field, all of them marked, and in which frames each of them is held.

    Args:
        bench: the recording.
        noisy: they are on a ladder, read up to two steps too high or too low; else they share a code.
    """
    random = bench.random
    stream, run = bench.still(whole if noisy else halves)
    own, first, second = random.permutation([18, 57, 101, 140] if noisy else np.arange(1, 8))[:3].tolist()
    raw = bench.code(stream, own, first, second, rest=249 if noisy else 0)
    noise = np.where(raw == 249, random.integers(-1, 2, len(raw)), random.integers(-2, 3, len(raw)))
    return bench.written(stream, run, raw + noise * noisy), {
        word: raw == level for word, level in (("menu", own), ("up", first), ("down", second))
    }


def multiplexed(bench: Bench, *, empty: bool = False) -> PutIn:
    """One of two, four or eight contents that take turns has the button; the others hold something else, or nothing."""
    random = bench.random
    period_s, pages = float(random.choice([0.02, 0.05, 0.1])), int(random.choice([2, 4, 8]))
    at = bench.clocked(period_s)
    page = np.arange(len(at)) % pages
    data = np.zeros((len(at), 8), np.uint8)
    for one in range(0 if empty else pages):
        rows = page == one
        data[rows, 1:] = random.integers(0, 256, 7, dtype=np.uint8)
        walk = np.cumsum(random.integers(-1, 2, (int(rows.sum()), 2)), axis=0).astype(np.uint8)
        data[np.ix_(rows, 1 + random.permutation(7)[:2])] += walk
    data[:, 0] = page
    own = page == int(random.integers(pages))
    payload = np.unpackbits(data[own], axis=1, bitorder="little")
    bit = int(random.choice([one for one in range(8, 64) if len(np.unique(payload[:, one])) == 1]))
    pressed = bench.down(at, bench.times, bench.hold_s + pages * period_s) & own
    data[:, bit // 8] ^= pressed.astype(np.uint8) << np.uint8(bit % 8)
    return bench.added(at, data, frozenset((bit,)))


def multiplexed_empty(bench: Bench) -> PutIn:
    return multiplexed(bench, empty=True)


def while_held(bench: Bench, *, counting: bool = False) -> PutIn:
    period_s = float(bench.random.choice([0.02, 0.05, 0.1]))
    held_s = max(bench.hold_s, period_s)
    at = np.concatenate([np.arange(time, time + held_s, period_s) for time in bench.times + 0.01])
    data = np.tile(bench.random.integers(0, 256, 4, dtype=np.uint8), (len(at), 1))
    if counting:
        data[:, 3] = np.arange(len(at)) & 0xF
    return bench.added(at, data, None)


def while_held_counting(bench: Bench) -> PutIn:
    return while_held(bench, counting=True)


def on_change(bench: Bench) -> PutIn:
    """A frame at each press and each release, of other buttons too."""
    events = sorted([(at, 4) for at in bench.times] + [(at, 1) for at in bench.others])
    hold_s = min(bench.hold_s, 0.3)
    at = np.array([time for begin, _ in events for time in (begin + 0.01, begin + 0.01 + hold_s)])
    data = np.zeros((len(at), 3), np.uint8)
    data[::2, 1] = [raw for _, raw in events]
    return bench.added(at, data, frozenset((10,)))


def short(bench: Bench) -> PutIn:
    """80 ms in a frame of 100 ms, so that the bus misses one press of five."""
    at, bit = bench.clocked(0.1), int(bench.random.integers(32))
    data = np.tile(bench.random.integers(0, 256, 4, dtype=np.uint8), (len(at), 1))
    data[:, bit // 8] ^= bench.down(at, bench.times, 0.08).astype(np.uint8) << np.uint8(bit % 8)
    return bench.added(at, data, frozenset((bit,)))
