"""Small fields: bits that lie still most of the time, as switches, buttons and lamps do, and their changes.

A run of neighbouring bits that always change together is one field; so are runs of several that change at different
times, since a field of a few values changes some of its bits at a time. Most lie in one byte; those over the border of
two are looked for in either byte order. What changes often is left out: it is a measured number, a counter or a
checksum; but a byte that flickers about a few levels is a field of so many values (`levels.py`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..broadcast.bits import place_of
from ..contract.layout import Bits, Select
from .found import Where
from .heard import Bytes, Floats, Integers, Stream
from .levels import levels_of
from .numbering import Numbering

LATE_START_S = 1.0
"""An id first heard later than this after the trace began was not sent before."""
LONGEST = 8
"""Bits of a small field, as many as a byte has."""
STEADY = 1.5
"""Gaps of an id that is sent all the time: nine out of ten are at most this many times the median."""
SILENT = 10.0
"""It is silent where none comes for so many times the median."""
TOGETHER_S = 1.0
"""Frames of an id that is sent on occasion belong to one occasion as long as no gap is longer."""


@dataclass(frozen=True)
class Small:
    """A small field and its changes, of which there is at least one.

    Attributes:
        stream: whose frames it is in.
        bits: where.
        at: when the frame came that showed a change, ascending, shape (changes,).
        width: how long before that the change may have happened, since no frame came, shape (changes,).
        raw: what it held before the first change and after each, shape (changes + 1,).
        rest: what it held longest.
        comes: it stands for frames of the id coming at all, not for what is in them; `raw` is then 0 and 1.
        select: the multiplexer's condition under which it is there.
        ranges: of a byte that flickers about a few levels the lowest and the highest number of each, ascending; `raw`
            then has the usual number of each.
    """

    stream: Stream
    bits: Bits
    at: Floats
    width: Floats
    raw: Integers
    rest: int
    comes: bool = False
    select: Select | None = None
    ranges: tuple[tuple[int, int], ...] = ()

    @property
    def where(self) -> Where:
        """The place that it is."""
        stream = self.stream
        return Where(stream.bus, stream.id, stream.extended, self.bits, select=self.select, comes=self.comes)

    def range_of(self, raw: int) -> tuple[int, int]:
        """Return the lowest and the highest number that mean the same as one of `raw`."""
        return next((some for some in self.ranges if some[0] <= raw <= some[1]), (raw, raw))

    @property
    def across(self) -> bool:
        """Whether it lies over the border of two bytes."""
        place = place_of(self.bits)
        return not self.comes and place.first != place.last

    def active(self) -> frozenset[int]:
        """Return which bits of the payload change in it, numbered ``8 * byte + bit``."""
        if self.comes:
            return frozenset()
        flips = int(np.bitwise_or.reduce(self.raw[1:] ^ self.raw[:-1]))
        run = Numbering.run_of(self.bits, self.stream.width)
        return frozenset(bit for n, bit in enumerate(run) if flips >> n & 1)


def small_fields(stream: Stream, begin: float, most: int) -> Iterator[Small]:
    """Yield the small fields of one id.

    Args:
        stream: the id's frames.
        begin: seconds of the trace's first frame.
        most: changes a field may have.
    """
    always = steady(stream)
    if not always and (one := _occasions(stream, begin, most)) is not None:
        yield one
    late = not always and bool(stream.at[0] - begin > LATE_START_S)
    yield from _Payloads(stream, _carried(stream), most, always, late).fields()


def steady(stream: Stream) -> bool:
    """Whether it is sent all the time, and not only when something happens."""
    if len(stream) < 3:
        return False
    middle, long = np.quantile(np.diff(stream.at), (0.5, 0.9))
    return bool(long <= STEADY * middle) and not mostly_silent(stream)


def mostly_silent(stream: Stream) -> bool:
    """Whether its frames come in bursts, with silence between them for more than half of the time."""
    gaps = np.diff(stream.at)
    silent_s = gaps[gaps > max(TOGETHER_S, SILENT * float(np.median(gaps)))].sum() if len(gaps) else 0.0
    return bool(silent_s > gaps.sum() / 2)


def _carried(stream: Stream) -> Bytes:
    """Return the payloads with bytes that a shorter frame lacks as they were before, since it tells nothing of them."""
    if int(stream.length.min()) == stream.width:
        return stream.data
    there = stream.length[:, None] > np.arange(stream.width)[None, :]
    last = np.maximum.accumulate(np.where(there, np.arange(len(stream))[:, None], 0), axis=0)
    return np.take_along_axis(stream.data, last, axis=0)


def _occasions(stream: Stream, begin: float, most: int) -> Small | None:
    """Return the coming of an id that is sent on occasion only, each time a few frames."""
    first = np.flatnonzero(np.diff(stream.at, prepend=begin) > TOGETHER_S)
    if not 0 < len(first) <= most:
        return None
    at = stream.at[first]
    raw = np.ones(len(at) + 1, dtype=np.int64)
    raw[0] = 0
    return Small(stream, Bits(0, 8 * max(1, stream.width)), at, np.zeros(len(at)), raw, 0, comes=True)


@dataclass(frozen=True)
class _Payloads:
    """The payloads of one id.

    Attributes:
        stream: the id's frames.
        data: what each byte was last known to hold, shape (frames, longest payload).
        most: changes a field may have.
        steady: it is sent all the time.
        late: it was not sent when the trace began.
    """

    stream: Stream
    data: Bytes
    most: int
    steady: bool
    late: bool

    def fields(self) -> Iterator[Small]:
        """Yield the small fields, byte by byte, then those over the border of two bytes."""
        rows = self.stream.changed
        flips = self.data[rows] ^ self.data[rows - 1]
        counts = [_counts(flips[:, byte]) for byte in range(self.stream.width)]
        quiet = [any(0 < count <= self.most for count in one) for one in counts]
        numbering = Numbering(self.stream.width, big=True)
        levelled = {byte: one for byte in range(self.stream.width) if (one := self._levels(byte, counts[byte]))}
        yield from levelled.values()
        for byte in np.flatnonzero(quiet).tolist():
            moved = flips[:, byte] != 0
            runs = _runs(rows[moved], flips[moved, byte], counts[byte], self.most)
            low = 8 * (self.stream.width - 1 - byte)
            for one in self._fields(self.data[:, byte], runs, numbering, low):
                if byte not in levelled or one.bits != levelled[byte].bits:
                    yield one
        for byte in range(self.stream.width - 1):
            if quiet[byte] and quiet[byte + 1]:
                yield from self._across(rows, flips, counts, byte)

    def _levels(self, byte: int, counts: Sequence[int]) -> Small | None:
        """Return a byte that flickers about a few levels."""
        found = levels_of(self.data[:, byte]) if np.count_nonzero(counts) > 1 else None
        if found is None:
            return None
        level = found.usual[self.data[:, byte]]
        rows = np.flatnonzero(level[1:] != level[:-1]) + 1
        if not 0 < len(rows) <= self.most:
            return None
        bits = Numbering(self.stream.width, big=True).bits(8 * (self.stream.width - 1 - byte), 8)
        return replace(self._field(bits, rows, np.concatenate([level[:1], level[rows]])), ranges=found.ranges)

    def _across(self, rows: Integers, flips: Bytes, counts: list[list[int]], byte: int) -> Iterator[Small]:
        """Yield the small fields over the border between a byte and the next, in either byte order."""
        for big in (False, True):
            low, high = (byte + 1, byte) if big else (byte, byte + 1)
            joined = flips[:, low] | flips[:, high].astype(np.int64) << 8
            moved = joined != 0
            runs = _runs(rows[moved], joined[moved], counts[low] + counts[high], self.most, border=8)
            numbering = Numbering(self.stream.width, big)
            start = 8 * (self.stream.width - 1 - low if big else low)
            yield from self._fields(
                self.data[:, low] | self.data[:, high].astype(np.int64) << 8, runs, numbering, start
            )

    def _fields(
        self, column: Bytes | Integers, runs: dict[bytes, list[tuple[int, int]]], numbering: Numbering, start: int
    ) -> Iterator[Small]:
        """Yield what runs of bits spell in a column of numbers whose lowest bit has that position."""
        for key, some in runs.items():
            rows = np.frombuffer(key, dtype=np.int64)
            numbers = np.concatenate([column[:1], column[rows]]).astype(np.int64)
            for low, high in some:
                bits = numbering.bits(start + low, high - low + 1)
                yield self._field(bits, rows, numbers >> low & (1 << high - low + 1) - 1)

    def _field(self, bits: Bits, rows: Integers, raw: Integers) -> Small:
        stream = self.stream
        at = stream.at[rows]
        width = at - stream.at[rows - 1] if self.steady else np.zeros(len(rows))
        held = np.diff(np.concatenate([stream.at[:1], at, stream.at[-1:]]))
        values, which = np.unique(raw, return_inverse=True)
        rest = int(values[np.bincount(which.reshape(-1), held).argmax()])
        if self.late and raw[0] != rest:  # before it was first sent it lay at rest
            at, width = np.concatenate([stream.at[:1], at]), np.concatenate([[0.0], width])
            raw = np.concatenate([[rest], raw])
        return Small(stream, bits, at, width, raw, rest)


def _counts(flips: Bytes) -> list[int]:
    """Count how often each bit of a byte changes."""
    if not flips.any():
        return [0] * 8
    return [int(np.count_nonzero(flips & (1 << bit))) for bit in range(8)]


def _runs(
    rows: Integers, flips: Bytes | Integers, counts: Sequence[int], most: int, border: int = 0
) -> dict[bytes, list[tuple[int, int]]]:
    """Return the runs of quiet bits of a number, first and last bit of each, by the rows in which they change.

    Of runs that change in the same rows, those are kept that lie in no other one.

    Args:
        rows: in which it changes.
        flips: which bits change in each of them.
        counts: how often each bit changes.
        most: changes a run may have.
        border: only runs with bits on both sides of it, of `LONGEST` bits at most; 0 means all.
    """
    active = [bit for bit in range(len(counts)) if 0 < counts[bit] <= most]
    found: dict[bytes, list[tuple[int, int]]] = {}
    for place, low in enumerate(active):
        for high in active[place:]:
            if border and not low < border <= high < low + LONGEST:
                continue
            part = flips >> low & (1 << high - low + 1) - 1
            chosen = rows[part != 0]
            if len(chosen) > most:  # a busy bit lies between
                break
            if border and len(np.unique(part[part != 0])) == 1:
                continue  # bits of one byte say the same
            runs = found.setdefault(chosen.tobytes(), [])
            still = high != low and runs and not all(counts[low : high + 1])
            if still and len(np.unique(part[part != 0])) == 1:
                continue  # the bits at its ends say the same without the still ones between them
            runs[:] = [run for run in runs if not (low <= run[0] and run[1] <= high)]
            if not any(run[0] <= low and high <= run[1] for run in runs):
                runs.append((low, high))
    return found
