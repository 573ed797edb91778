"""Lanes: sequences of payloads that are searched; all frames of an id, or those that share a multiplexer's value."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ...contract.layout import Bits, ByteOrder, Select
from ..heard import Bytes, Flags, Floats, Heard, Integers, Stream

LOOKED_AT = 4000
"""Frames of an id that are looked at to see how its bits behave."""

MOST_VALUES = 64
"""Values of a multiplexer; one with more is taken for a number."""

FEWEST_FRAMES = 5
"""Frames a lane needs."""

CALMER = 0.6
"""Frames that share a multiplexer's value differ from each other by at most this part of what neighbours differ by."""

SELECTORS = ((0, 8), (0, 4), (4, 4))
"""Where in a byte a multiplexer may sit: (lowest bit, length)."""

MOST_SELECTORS = 3
"""Multiplexers tried for one id."""


FAR, RARE, MOVING = 8, 0.3, 4
"""A byte's 00 or FF means "not available" where all its other values, `MOVING` or more, lie further from it than from
each other and than `FAR`, and it makes up at most `RARE` of the frames (chosen on two 12 V sensors, which read 0 while
they start and once they are off)."""


@dataclass(frozen=True)
class Lane:
    """Payloads of one id in their order.

    Attributes:
        stream: all frames of the id.
        at, data: time and payload of those in the lane.
        select: the multiplexer's condition; None for all frames.
        says: which of them say something, shape (frames,): in the others a byte reads "not available".
    """

    stream: Stream
    at: Floats
    data: Bytes
    says: Flags
    select: Select | None = None

    def __len__(self) -> int:
        return len(self.at)

    @cached_property
    def period_s(self) -> float:
        """Median time between frames; 0 with a single one."""
        return float(np.median(np.diff(self.at))) if len(self) > 1 else 0.0

    @cached_property
    def active(self) -> Integers:
        """Numbers of the bits that change, ascending."""
        said = self.data[self.says]
        if not len(said):
            return np.empty(0, dtype=np.int64)
        return np.flatnonzero(
            np.unpackbits(np.bitwise_or.reduce(said) ^ np.bitwise_and.reduce(said), bitorder="little")
        )

    @cached_property
    def flips(self) -> Integers:
        """How often each bit changes from frame to frame, in the first `LOOKED_AT`, shape (bits,)."""
        said = self.data[self.says][:LOOKED_AT]
        flips = np.unpackbits(said[1:] ^ said[:-1], axis=1, bitorder="little")
        return np.asarray(flips.sum(axis=0, dtype=np.int64))

    @cached_property
    def ones(self) -> Integers:
        """Numbers of the bits that are always set, ascending."""
        return np.flatnonzero(np.unpackbits(np.bitwise_and.reduce(self.data[self.says]), bitorder="little"))

    def raw(self, bits: Bits, *, signed: bool = False) -> Integers:
        """Read the number that bits spell, shape (frames,)."""
        return Stream(
            self.stream.bus, self.stream.id, self.stream.extended, self.at, np.empty(0, dtype=np.uint8), self.data
        ).raw(bits, signed=signed)


def lanes(heard: Heard, without: tuple[tuple[str, int, bool], ...] = ()) -> Iterator[Lane]:
    """Yield every lane of what was heard: each id whole, then by its multiplexer if it seems to have one."""
    for stream in heard:
        if (stream.bus, stream.id, stream.extended) in without or len(stream) < FEWEST_FRAMES or not stream.width:
            continue
        yield _lane(stream, np.arange(len(stream)))
        for select, raw in selectors(stream):
            for value in np.unique(raw).tolist():
                rows = np.flatnonzero(raw == value)
                if len(rows) >= FEWEST_FRAMES:
                    yield _lane(stream, rows, Select(select, (int(value),)))


def selectors(stream: Stream) -> list[tuple[Bits, Integers]]:
    """Return bits that look like a multiplexer's, likeliest first, with what they read in each frame.

    A multiplexer takes few values, each again and again; frames that share its value resemble each other much more
    than frames that follow each other do.
    """
    middle = max(0, (len(stream) - LOOKED_AT) // 2)
    data = stream.data[middle : middle + LOOKED_AT]
    found: list[tuple[float, Bits]] = []
    for byte in range(stream.width):
        for low, length in SELECTORS:
            bits = Bits(byte, length, low, ByteOrder.LITTLE)
            raw = (data[:, byte] >> np.uint8(low)) & np.uint8((1 << length) - 1)
            if (calm := _calm(data, raw, byte)) is not None:
                found.append((calm, bits))
    found = sorted((item for item in found if item[0] <= CALMER), key=lambda item: item[0])
    # what is at the front is likelier, but a few slow numbers behind it may set frames apart even better
    by_place = sorted(found, key=lambda item: item[1].byte)
    kept: list[Bits] = []
    for _, bits in (*by_place[:1], *found[:1], *by_place[1:]):
        if all(bits.byte != other.byte for other in kept):
            kept.append(bits)
    return [(bits, stream.raw(bits)) for bits in kept[:MOST_SELECTORS]]


def _calm(data: Bytes, raw: Bytes, byte: int) -> float | None:
    """Return how much frames of one value differ, over how much neighbours do; None if `raw` is no multiplexer's."""
    counts = np.bincount(raw, minlength=256)
    values = np.count_nonzero(counts)
    if not 2 <= values <= MOST_VALUES or len(raw) < FEWEST_FRAMES * values:
        return None
    if np.count_nonzero(raw[1:] != raw[:-1]) < 2 * values:
        return None  # it does not come round again and again
    others = np.delete(data, byte, axis=1)
    order = np.argsort(raw, kind="stable")
    neighbours = _differing(others)
    together = _differing(others[order])
    return together / neighbours if neighbours else None


def _differing(data: Bytes) -> float:
    return float(np.unpackbits(data[1:] ^ data[:-1], axis=1).sum())


def says(data: Bytes) -> Flags:
    """Return which payloads say something, shape (frames,).

    A byte that reads 00 or FF now and then, and otherwise moves about far from that, reads "not available" or is not
    there yet; taken for a number it would outweigh all others.
    """
    good = np.ones(len(data), dtype=bool)
    for byte in range(data.shape[1]):
        column = data[:, byte]
        counts = np.bincount(column, minlength=256)
        others = np.flatnonzero(counts[1:0xFF]) + 1
        if len(others) < MOVING:
            continue
        low, high = int(others[0]), int(others[-1])
        for void, away in ((0, low), (0xFF, 0xFF - high)):
            if 0 < counts[void] <= RARE * len(data) and away > max(FAR, high - low):
                good &= column != void
    return good if np.count_nonzero(good) >= len(data) * (1 - RARE) else np.ones(len(data), dtype=bool)


def _lane(stream: Stream, rows: Integers, select: Select | None = None) -> Lane:
    if len(rows) == len(stream):
        return Lane(stream, stream.at, stream.data, says(stream.data), select)
    return Lane(stream, stream.at[rows], stream.data[rows], says(stream.data[rows]), select)
