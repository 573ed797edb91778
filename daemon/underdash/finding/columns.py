"""Collecting rows into streams, and what is noticed on the way: clocks that restart, silences, what was left out.

A clock that goes back, or leaps ahead by a day, begins another piece: times of two pieces cannot be compared. The piece
with the most frames is kept; of the others only their size.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from ..bus.frames import EXTENDED
from .heard import Bytes, Floats, Integers, Stream
from .lines import BUS_SHIFT, DATA, ERROR, FD, NOTHING, REMOTE, Rows

DISORDER_S = 1.0
"""Frames of several interfaces are written down as they are fetched, each in turn: a stamp may lie this much before the
last (0.14 s seen on a busy machine). A clock that is set back by less spoils no search."""
LEAP_S = 86_400.0
"""A clock that leaps ahead by a day was set: no recording sleeps that long in between."""
SILENCE_S, MOST_SILENCES = 0.2, 1000
"""From which length on silences are noted, and how many, the longest first."""
MOST_PIECES = 1000
"""No clock is set more often while one records: frames with different clocks are mixed then."""
MOST_FRAMES = 40_000_000
"""More are not searched at once: they would take 0.8 GB."""
MOST_IDS = 2000
"""Of all buses together: fewer than noise has of 11 bits (2048), more than any car has. Some searches compare each with
each, others keep some hundred kilobytes for each that is all noise."""

Part = tuple[Floats, Bytes, Bytes]


@dataclass
class Piece:
    """A stretch of the trace in which the clock runs on.

    Attributes:
        first_line, last_line: those of its first and last frame, counted from 1.
        until_line: the first of the next piece, None where there is none.
        begin, end: seconds of the first and last frame of any kind.
        frames: data frames.
        counts: of what was left out, by kind.
        silences: (length, from when) of the longest stretches without any frame, in no order.
        parts: columns by key.
    """

    first_line: int
    last_line: int = 0
    until_line: int | None = None
    begin: float = 0.0
    end: float = 0.0
    frames: int = 0
    counts: dict[int, int] = field(default_factory=lambda: {REMOTE: 0, ERROR: 0, FD: 0})
    silences: list[tuple[float, float]] = field(default_factory=list)
    parts: dict[int, list[Part]] = field(default_factory=dict)

    @property
    def weight(self) -> tuple[int, int]:
        """By which pieces are compared: data frames, then other frames."""
        return self.frames, sum(self.counts.values())

    def owns(self, line: int) -> bool:
        """Say whether a remark in this line was written while this piece's clock ran."""
        return self.first_line <= line and (self.until_line is None or line < self.until_line)


class Columns:
    """Takes rows in the order of the trace.

    Attributes:
        pieces: met so far.
        frames: data frames met so far, in all pieces.
        best: the largest piece that has ended, None before.
    """

    def __init__(self) -> None:
        self.pieces = 0
        self.frames = 0
        self.best: Piece | None = None
        self._now: Piece | None = None
        self._last = 0.0

    def take(self, rows: Rows, first_line: int = 1) -> None:
        """Add rows, the first of which is that line of the trace."""
        heard = np.flatnonzero(rows.kind != NOTHING)
        if not len(heard):
            return
        at = rows.at[heard]
        steps = np.diff(at, prepend=self._last)
        jumped = (steps < -DISORDER_S) | (steps > LEAP_S)
        jumped[0] |= self._now is None
        bounds = np.union1d(np.flatnonzero(jumped), (0, len(heard))).tolist()
        for begin, end in pairwise(bounds):
            if self._now is None or jumped[begin]:
                self._now = self._begin(first_line + int(heard[begin]), float(at[begin]))
                steps[begin] = 0.0
            _add(self._now, rows, heard[begin:end], steps[begin:end], first_line)
        self.frames += int(np.count_nonzero(rows.kind == DATA))
        self._last = float(at[-1])

    def finish(self) -> Piece | None:
        """Return the piece with the most frames, the first of several; None where nothing was heard."""
        if self._now is not None and (self.best is None or self._now.weight > self.best.weight):
            self.best = self._now
        self._now = None
        return self.best

    def _begin(self, line: int, at: float) -> Piece:
        if self._now is not None:
            self._now.until_line = line
        self.finish()
        self.pieces += 1
        return Piece(line if self.pieces > 1 else 1, begin=at, end=at)


def _add(piece: Piece, rows: Rows, heard: Integers, steps: Floats, first_line: int) -> None:
    at, kind = rows.at[heard], rows.kind[heard]
    piece.last_line = first_line + int(heard[-1])
    piece.begin, piece.end = min(piece.begin, float(at.min())), max(piece.end, float(at.max()))
    for number in np.flatnonzero(steps > SILENCE_S).tolist():
        silence = float(steps[number]), float(at[number] - steps[number])
        if len(piece.silences) < MOST_SILENCES:
            heapq.heappush(piece.silences, silence)
        else:
            heapq.heappushpop(piece.silences, silence)
    for left_out in piece.counts:
        piece.counts[left_out] += int(np.count_nonzero(kind == left_out))
    data = heard[kind == DATA]
    piece.frames += len(data)
    if len(data):
        _sort(piece, rows, data)


def _sort(piece: Piece, rows: Rows, data: Integers) -> None:
    order = data[np.argsort(rows.key[data], kind="stable")]
    key, at, length, payload = rows.key[order], rows.at[order], rows.length[order], rows.data[order]
    bounds = [0, *(np.flatnonzero(np.diff(key)) + 1).tolist(), len(order)]
    for first, last in pairwise(bounds):
        # copies, since a view would keep the whole block until the last of its ids is joined
        part = at[first:last].copy(), length[first:last].copy(), payload[first:last].copy()
        piece.parts.setdefault(int(key[first]), []).append(part)


def streams_of(piece: Piece, names: Sequence[str]) -> tuple[Stream, ...]:
    """Join a piece's parts, which are used up, into streams by bus, id and kind of id."""
    streams = []
    for key in sorted(piece.parts, key=lambda key: _named(key, names)):
        parts = piece.parts.pop(key)
        at, length, data = (np.concatenate(columns) for columns in zip(*parts, strict=True))
        data = np.ascontiguousarray(data[:, : int(length.max())])
        if (np.diff(at) < 0).any():
            order = np.argsort(at, kind="stable")
            at, length, data = at[order], length[order], data[order]
        streams.append(Stream(*_named(key, names), at, length, data))
    return tuple(streams)


def _named(key: int, names: Sequence[str]) -> tuple[str, int, bool]:
    return names[key >> BUS_SHIFT], key & (EXTENDED - 1), bool(key & EXTENDED)
