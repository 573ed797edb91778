"""The ignition from the order of its positions alone, where nobody marked them: LOCK, OFF, ACC, ON, START and back.

Other things go up and down as well, so this is never more than a hint: a recording with marks says it surely. What
helps is that much else answers when the ignition is turned on and off, and that nobody turns it often or in haste.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ...contract.layout import Bits
from ..found import Answer, Candidate, Where
from ..heard import Flags, Floats, Heard, Integers, Stream, unpacked

MOST_CHANGES = 24
"""A key that was turned more often was not led; whatever moves more is no switch."""
START_S = 8.0
"""Nobody turns the starter for longer (common practice: 5 to 10 s at most)."""
GLITCH_S, SHORTEST_S = 0.05, 0.3
"""What is shorter than the first is no value of its own; a position that a person passes through takes the second."""
MOST_ROUNDS = 4
A_POSITION, A_ROUND, A_START, A_STIR = 1.5, 0.5, 1.0, 1.0
"""As logarithms of odds: a further position, going through them again, START as one of them, and that other ids answer
when it turns on and off."""
NOTHING = 4.0
"""Logarithm of the odds that it is none of them, against one that goes on and off once: many things do. Chosen on the
open recordings in which no ignition is turned."""
MOST_SURE, WITHOUT_START = 0.7, 0.3
"""How sure the order can make one, and without a START in it."""
STIR_S, STIRRED = (-0.2, 1.5), 3
"""When other ids answer to a turn, in seconds from it, and how many of them make a stir."""
BELOW = {1: ("OFF",), 2: ("OFF", "ACC"), 3: ("LOCK", "OFF", "ACC")}
"""Names of the positions that are passed before ON."""
UNMARKED = (
    "no mark says LOCK, OFF, ACC, ON or START, so this goes by the order of values alone; record again and mark each "
    "position to be sure"
)


@dataclass(frozen=True)
class Path:
    """How a field went through its values.

    Attributes:
        names: position by raw number.
        rounds: how often ON was reached from below.
        on_at, off_at: when it became ON and when it was left for good.
    """

    names: dict[int, str]
    rounds: int
    on_at: float
    off_at: float


def ignition_by_order(heard: Heard) -> Answer:
    """Find fields that go through their values as an ignition does."""
    stirs = _changes_elsewhere(heard)
    found = []
    for stream in heard:
        best = max(_candidates(stream, heard, stirs), key=lambda one: (one.score, -one.where.bits.length), default=None)
        if best is not None:
            found.append(best)
    found.sort(key=lambda one: -one.score)
    odds = np.exp([one.score for one in found])
    most = [MOST_SURE if "START" in one.meaning.values() else WITHOUT_START for one in found]
    shares = np.minimum(odds / (odds.sum() + np.exp(NOTHING)), most)
    ranks: list[list[Candidate]] = []
    for one, share in zip(found, shares.tolist(), strict=True):
        told = Candidate(one.where, share, one.score, one.because, one.meaning, one.figures)
        if ranks and ranks[-1][0].score - one.score < 0.5:
            ranks[-1].append(told)
        else:
            ranks.append([told])
    remarks = (UNMARKED,) if found else ("no field goes through its values as an ignition does", UNMARKED)
    return Answer("ignition", tuple(map(tuple, ranks)), remarks)


def path_of(raw: Sequence[int], at: Sequence[float], until: float) -> Path | None:
    """Read a field's values, each other than the one before, as positions of the ignition.

    Args:
        raw: values in their order.
        at: since when each held.
        until: when the last one ended.

    Returns:
        None if they are none: an ignition begins and ends off, reaches new positions only from the one below, and START
        only from ON.
    """
    held = np.diff([*at, until])
    order = list(dict.fromkeys(raw))
    start = _start(raw, held, order)
    steps = [value for value in order if value != start]
    on = steps[-1]
    short = any(length < SHORTEST_S for length, value in zip(held, raw, strict=True) if value != start)
    if short or len(steps) - 1 not in BELOW or raw[-1] in (on, start) or not _climbs(raw, steps, start):
        return None
    names = dict(zip(steps, (*BELOW[len(steps) - 1], "ON"), strict=True))
    if start is not None:
        names[start] = "START"
    reached = [n for n, (before, value) in enumerate(pairwise(raw), 1) if value == on and before != start]
    if len(reached) > MOST_ROUNDS:
        return None
    left = max(n for n, value in enumerate(raw) if value in (on, start))
    return Path(names, len(reached), float(at[reached[0]]), float(at[left + 1]))


def _climbs(raw: Sequence[int], steps: Sequence[int], start: int | None) -> bool:
    """Say whether each new value is reached from the one below it, and START from ON alone."""
    level = {value: place for place, value in enumerate(steps)}
    highest = 0
    for before, value in pairwise(raw):
        if start in (before, value):
            if {before, value} != {start, steps[-1]}:
                return False
        elif level[value] > highest:
            if level[before] != highest:
                return False
            highest = level[value]
    return True


def _start(raw: Sequence[int], held: Floats, order: Sequence[int]) -> int | None:
    """Return the value that can only be START: short each time, and left for the one it came from, which lasts."""
    if len(order) < 3:
        return None
    value = order[-1]
    places = [place for place, one in enumerate(raw) if one == value]
    beside = {raw[place + step] for place in places for step in (-1, 1) if 0 <= place + step < len(raw)}
    if len(beside) != 1 or any(held[place] > START_S for place in places):
        return None
    rest = sum(held[place] for place, one in enumerate(raw) if one in beside)
    return value if rest > held[places].sum() else None


def _candidates(stream: Stream, heard: Heard, stirs: tuple[Floats, Integers]) -> Iterator[Candidate]:
    for bits, raw, at in _quiet(stream):
        path = path_of(raw, at, heard.end)
        if path is None:
            continue
        stir = min(_stir(stirs, path.on_at, stream, heard), _stir(stirs, path.off_at, stream, heard))
        score = (
            A_POSITION * (len(path.names) - 2) + A_ROUND * (path.rounds - 1)
            + A_START * ("START" in path.names.values()) + A_STIR * (stir >= STIRRED)
        )  # fmt: skip
        because = [
            f"it goes through {len(path.names)} values in the order of an ignition, "
            + ("once" if path.rounds == 1 else f"{path.rounds} times"),
            f"{stir} other ids answer when it turns on and off",
        ]
        yield Candidate(
            Where(stream.bus, stream.id, stream.extended, bits), 0.0, score, tuple(because), path.names,
            {"told_apart": float(len(path.names)), "rounds": float(path.rounds)},
        )  # fmt: skip


def _quiet(stream: Stream) -> Iterator[tuple[Bits, list[int], list[float]]]:
    """Yield runs of bits of one byte that change seldom, with their values and since when each held."""
    if not len(stream.changed):
        return
    flips = unpacked(stream.data[1:] ^ stream.data[:-1])
    counts = np.count_nonzero(flips, axis=0)
    usable: Flags = counts <= MOST_CHANGES
    for byte in range(stream.width):
        here = slice(8 * byte, 8 * byte + 8)
        active = np.flatnonzero(usable[here] & (counts[here] > 0)).tolist()
        for low in (bit for bit in active if not _top_of_number(counts, byte, bit)):
            for high in (bit for bit in active if bit >= low and usable[here][low : bit + 1].all()):
                raw = stream.data[:, byte].astype(np.int64) >> low & (1 << high - low + 1) - 1
                rows = np.concatenate(([0], np.flatnonzero(np.diff(raw)) + 1))
                long = np.diff(np.append(stream.at[rows], stream.at[-1])) >= GLITCH_S
                rows = rows[long]
                rows = rows[np.diff(raw[rows], prepend=-1) != 0]
                if 3 <= len(rows) <= MOST_CHANGES:
                    yield Bits(byte, high - low + 1, high), raw[rows].tolist(), stream.at[rows].tolist()


def _top_of_number(counts: Integers, byte: int, low: int) -> bool:
    """Say whether moving bits go on below, in either byte order, to one that moves often: then it is a number's top."""
    for order in (-1, 1):
        bit = 8 * byte + low
        while True:
            bit = bit - 1 if bit % 8 else bit + 8 * order + 7
            if not 0 <= bit < len(counts) or not counts[bit]:
                break
            if counts[bit] > MOST_CHANGES:
                return True
    return False


def _changes_elsewhere(heard: Heard) -> tuple[Floats, Integers]:
    """Return when quiet bits changed or ids were first and last heard, and on which stream, ascending."""
    times, places = [], []
    for place, stream in enumerate(heard):
        flips = unpacked(stream.data[1:] ^ stream.data[:-1])
        counts = np.count_nonzero(flips, axis=0)
        quiet = flips[:, (counts > 0) & (counts <= MOST_CHANGES)].any(axis=1)
        at = np.concatenate((stream.at[[0, -1]], stream.at[1:][quiet]))
        times.append(at)
        places.append(np.full(len(at), place))
    if not times:
        return np.array([]), np.array([], dtype=np.int64)
    at, owner = np.concatenate(times), np.concatenate(places)
    order = np.argsort(at)
    return at[order], owner[order]


def _stir(stirs: tuple[Floats, Integers], turned: float, stream: Stream, heard: Heard) -> int:
    """Count the other ids that answer when the ignition is turned."""
    at, owner = stirs
    first, last = np.searchsorted(at, (turned + STIR_S[0], turned + STIR_S[1]))
    return sum(heard.streams[place] is not stream for place in np.unique(owner[first:last]).tolist())
