"""Frames by the block: plain trace lines are read with arithmetic on whole arrays, since one by one takes too long.

A plain line is ``(seconds.decimals) channel ID#DATA`` with a data frame of classic CAN. Lines that share their shape
(length and places of the brackets, the dot, the spaces and the ``#``) are read together; all others are left to the
reader of single lines, which alone decides what is a mistake.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..bus.frames import EXTENDED, Frame, key_of
from .heard import Bytes, Flags, Floats, Integers

NOTHING, DATA, REMOTE, ERROR, FD = range(5)
"""What a row holds; NOTHING is a remark, an empty line, or one that has still to be read."""

PAYLOAD = 8
BUS_SHIFT = 32
"""A row's key is the frame's dispatch key, and above it the number of its bus."""

_SHAPE = re.compile(
    rb"\((\d{1,15})\.(\d{1,9})\) ([!-~]{1,15}) ([0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})#((?:[0-9A-Fa-f]{2}){0,8})(?:\s[^\n]*)?\n"
)
_MOST_LINE = 200
_MOST_ODD = 8
"""So many shapes that are not plain are tried among lines of one length; then their rest is read one by one."""
_EXACT = 1 << 53
"""Whole numbers below it are exact as floats, so that dividing by a power of ten rounds as reading the text does."""
_MOST_DIGITS = 18
_MOST_ID = {3: 0x7FF, 8: 0x1FFF_FFFF}
_LATEST_S = 1e12

_NIBBLE = np.full(256, 255, dtype=np.uint8)
for _digits in (b"0123456789abcdef", b"0123456789ABCDEF"):
    _NIBBLE[np.frombuffer(_digits, dtype=np.uint8)] = np.arange(16)


class Buses:
    """Numbers for buses: the channel's name in the trace becomes the bus's role.

    Args:
        roles: by channel; a channel that is not in it keeps its name.
    """

    def __init__(self, roles: Mapping[str, str] | None = None) -> None:
        self._roles = roles or {}
        self._numbers: dict[str, int] = {}
        self._channels: dict[str, set[str]] = {}

    def number(self, channel: str) -> int:
        """Return the number of the bus that a channel is."""
        role = self._roles.get(channel, channel)
        self._channels.setdefault(role, set()).add(channel)
        return self._numbers.setdefault(role, len(self._numbers))

    @property
    def names(self) -> Sequence[str]:
        """The buses' names by number."""
        return list(self._numbers)

    @property
    def channels(self) -> tuple[str, ...]:
        """Names that buses have in the trace itself."""
        return tuple(sorted(set().union(*self._channels.values())))

    @property
    def merged(self) -> Mapping[str, Sequence[str]]:
        """Buses that are several channels of the trace, with these."""
        return {role: sorted(some) for role, some in self._channels.items() if len(some) > 1}


@dataclass(frozen=True)
class Rows:
    """One row a line, in the order of the trace.

    Attributes:
        kind: NOTHING, DATA, REMOTE, ERROR or FD, shape (rows,).
        at: seconds. key: bus and id. length: bytes. data: payload, shape (rows, 8), zero beyond the length.
        starts: where each line begins in its block, and where the last one ends, shape (rows + 1,).
    """

    kind: Bytes
    at: Floats
    key: Integers
    length: Bytes
    data: Bytes
    starts: Integers

    @classmethod
    def empty(cls, starts: Integers) -> Rows:
        """Return rows that hold nothing yet."""
        rows = len(starts) - 1
        small, payload = np.zeros((2, rows), dtype=np.uint8), np.zeros((rows, PAYLOAD), dtype=np.uint8)
        return cls(small[0], np.zeros(rows), np.zeros(rows, dtype=np.int64), small[1], payload, starts)

    def put(self, row: int, bus: int, frame: Frame) -> None:
        """Set one row."""
        self.at[row] = frame.at
        beyond = frame.fd or len(frame.data) > PAYLOAD
        self.kind[row] = FD if beyond else REMOTE if frame.remote else ERROR if frame.error else DATA
        if self.kind[row] == DATA:
            self.key[row] = bus << BUS_SHIFT | key_of(frame.id, frame.extended)
            self.length[row] = len(frame.data)
            self.data[row, : len(frame.data)] = np.frombuffer(frame.data, dtype=np.uint8)


def rows_of(block: bytes, buses: Buses) -> Rows:
    """Read the plain lines of a block; rows of others hold NOTHING."""
    text = np.frombuffer(block, dtype=np.uint8)
    ends = np.flatnonzero(text == ord("\n")) + 1
    half = [] if block.endswith(b"\n") else [len(text)]
    rows = Rows.empty(np.concatenate(([0], ends, half)).astype(np.int64))
    sizes = np.minimum(np.diff(rows.starts), _MOST_LINE)
    for size in np.flatnonzero(np.bincount(sizes)).tolist():
        if size < _MOST_LINE:
            _read_size(text, size, np.flatnonzero(sizes == size), buses, rows)
    return rows


def _read_size(text: Bytes, size: int, at_rows: Integers, buses: Buses, rows: Rows) -> None:
    """Read the plain ones among the lines of one size, shape by shape."""
    lines = np.lib.stride_tricks.sliding_window_view(text, size)[rows.starts[at_rows]]
    likely = _likely(lines)
    if not likely.all():
        lines, at_rows = lines[likely], at_rows[likely]
    odd = 0
    while len(at_rows) and odd < _MOST_ODD:
        shape = _SHAPE.fullmatch(lines[0].tobytes())
        if shape is None:
            odd += 1
            lines, at_rows = lines[1:], at_rows[1:]
            continue
        nibbles = _NIBBLE[lines]
        same = _same_shape(lines, nibbles, shape)
        bus = buses.number(shape[3].decode("utf-8", "replace"))
        if same.all():
            _read_shape(nibbles, shape, at_rows, bus, rows)
            return
        _read_shape(nibbles[same], shape, at_rows[same], bus, rows)
        lines, at_rows = lines[~same], at_rows[~same]


def _likely(lines: Bytes) -> Flags:
    """Say which lines begin with a time and have a hex digit or a space after their first ``#``."""
    if lines.shape[1] < 2:
        return np.zeros(len(lines), dtype=bool)
    after = (lines[:, :-1] == ord("#")).argmax(axis=1) + 1
    follows = np.take_along_axis(lines, after[:, None], axis=1)[:, 0]
    flags: Flags = (lines[:, 0] == ord("(")) & ((_NIBBLE[follows] < 16) | (follows <= ord(" ")))
    return flags


def _same_shape(lines: Bytes, nibbles: Bytes, shape: re.Match[bytes]) -> Flags:
    fixed = np.ones(lines.shape[1], dtype=bool)
    for group in (1, 2, 4, 5):
        fixed[slice(*shape.span(group))] = False
    places = np.flatnonzero(fixed)
    same: Flags = (lines[:, places] == lines[0, places]).all(axis=1)
    for group, base in ((1, 10), (2, 10), (4, 16), (5, 16)):
        same &= (nibbles[:, slice(*shape.span(group))] < base).all(axis=1)
    return same


def _read_shape(nibbles: Bytes, shape: re.Match[bytes], at_rows: Integers, bus: int, rows: Rows) -> None:
    """Read lines of one shape; those whose time or id is no plain one stay as they are."""
    if len(shape[1]) + len(shape[2]) > _MOST_DIGITS:
        return
    whole = _number(nibbles, [*range(*shape.span(1)), *range(*shape.span(2))], 10)
    at = whole / 10.0 ** len(shape[2])
    can_id = _number(nibbles, range(*shape.span(4)), 16)
    digits = len(shape[4])
    plain = (can_id <= _MOST_ID[digits]) & (whole < _EXACT) & (at < _LATEST_S)
    if not plain.all():
        at, can_id, at_rows, nibbles = at[plain], can_id[plain], at_rows[plain], nibbles[plain]
    first, last = shape.span(5)
    length = (last - first) // 2
    rows.at[at_rows] = at
    rows.key[at_rows] = can_id | (EXTENDED if digits == 8 else 0) | bus << BUS_SHIFT
    rows.length[at_rows] = length
    rows.data[at_rows, :length] = nibbles[:, first:last:2] << 4 | nibbles[:, first + 1 : last : 2]
    rows.kind[at_rows] = DATA


def _number(nibbles: Bytes, columns: Sequence[int], base: int) -> Integers:
    number = np.zeros(len(nibbles), dtype=np.int64)
    for column in columns:
        number *= base
        number += nibbles[:, column]
    return number
