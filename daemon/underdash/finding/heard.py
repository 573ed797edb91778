"""What was heard, as columns: all frames of one id beside each other, ready for arithmetic on whole arrays."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..broadcast.bits import place_of
from ..bus.frames import id_text, key_of
from ..contract.layout import Bits

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]
Integers = NDArray[np.int64]
Numbers = NDArray[np.uint64]
Flags = NDArray[np.bool_]

MOST_BITS = 64
STEADY_FRAMES, STEADY_SHARE, STEADY_PERIODS = 20, 0.9, 2.0
"""An id is sent regularly if, of so many frames, this share follows the one before within two median periods."""


@dataclass(frozen=True)
class Stream:
    """The data frames of one id on one bus, in the order they were heard; at least one.

    Attributes:
        bus: role of the bus, or the channel's name in the trace.
        id, extended: the CAN id.
        at: seconds, never decreasing, shape (frames,).
        length: bytes of each frame, shape (frames,).
        data: payloads, shape (frames, longest payload); zero beyond a frame's length.
    """

    bus: str
    id: int
    extended: bool
    at: Floats
    length: Bytes
    data: Bytes

    def __str__(self) -> str:
        """Write as a person reads it: bus and id in hex digits, three for 11 bits, eight for 29."""
        return f"{self.bus} {self.name}"

    @property
    def name(self) -> str:
        """The id in hex digits: three for 11 bits, eight for 29."""
        return id_text(key_of(self.id, self.extended))

    def __len__(self) -> int:
        return len(self.at)

    @property
    def width(self) -> int:
        """Bytes of the longest payload."""
        return int(self.data.shape[1])

    @cached_property
    def bits(self) -> Bytes:
        """Every bit as 0 or 1, shape (frames, 8 * width), numbered ``8 * byte + bit``."""
        return unpacked(self.data)

    @cached_property
    def changed(self) -> Integers:
        """Rows whose payload differs from the row before; the first row is not among them."""
        return np.flatnonzero((self.data[1:] != self.data[:-1]).any(axis=1)) + 1

    @cached_property
    def active(self) -> Flags:
        """Which bits ever change, shape (8 * width,)."""
        ones, zeros = np.bitwise_or.reduce(self.data, axis=0), np.bitwise_and.reduce(self.data, axis=0)
        return np.unpackbits(ones ^ zeros, bitorder="little").astype(bool)

    @cached_property
    def period_s(self) -> float | None:
        """Median time between frames; None with fewer than three."""
        return float(np.median(np.diff(self.at))) if len(self) >= 3 else None

    @cached_property
    def every_s(self) -> float | None:
        """The period of an id that is sent regularly; None for one that is sent now and then, such as on change."""
        if len(self) < STEADY_FRAMES or not self.period_s:
            return None
        often = float(np.quantile(np.diff(self.at), STEADY_SHARE))
        return self.period_s if often <= STEADY_PERIODS * self.period_s else None

    def raw(self, bits: Bits, *, signed: bool = False) -> Integers:
        """Read the number that the bits spell, shape (frames,).

        A frame that is too short for it reads as if it went on with zeros. 64 bits are read only if `signed`, since
        they would not fit otherwise.

        Raises:
            ValueError: the bits lie beyond the longest payload, or are too many.
        """
        place = place_of(bits)
        if place.last >= self.width or place.length > (MOST_BITS if signed else MOST_BITS - 1):
            raise ValueError(f"{bits} does not fit {self} with {self.width} bytes")
        touched = range(place.first, place.last + 1)
        number = np.zeros(len(self), dtype=np.uint64)
        for weight, byte in enumerate(touched if place.little else reversed(touched)):
            column = self.data[:, byte].astype(np.uint64)
            move = 8 * weight - place.shift
            number |= column << np.uint64(move) if move >= 0 else column >> np.uint64(-move)
        if place.length < MOST_BITS:
            number &= np.uint64((1 << place.length) - 1)
        raw = number.astype(np.int64)
        if signed and place.length < MOST_BITS:
            raw -= (raw >> (place.length - 1)) << place.length
        return raw


def unpacked(data: Bytes) -> Bytes:
    """Return the bits of payloads, shape (rows, 8 * bytes), numbered ``8 * byte + bit``; eight times as large."""
    return np.unpackbits(data, axis=1, bitorder="little")


@dataclass(frozen=True)
class Heard:
    """What a trace holds.

    Attributes:
        streams: by bus, kind of id and id.
        begin, end: seconds of the first and the last frame of any kind, 0 and 0 where there is none.
        frames: data frames in it.
        marks: (seconds, words) that a person set while recording, ascending.
        remarks: sentences about what the trace lacks: gaps, a clock that went back, error frames, half a line.
        trace: name of the file.
        sha256: of the file's bytes, as hex digits; "" where there is no file.
        about: what the lines at the top say.
        channels: names that buses have in the trace itself, those of frames of any kind.
    """

    streams: tuple[Stream, ...]
    begin: float = 0.0
    end: float = 0.0
    marks: tuple[tuple[float, str], ...] = ()
    remarks: tuple[str, ...] = ()
    trace: str = ""
    sha256: str = ""
    about: Mapping[str, str] = field(default_factory=dict)
    channels: tuple[str, ...] = ()

    def __iter__(self) -> Iterator[Stream]:
        return iter(self.streams)

    @property
    def frames(self) -> int:
        """Data frames in all streams."""
        return sum(map(len, self.streams))

    def stream(self, bus: str, can_id: int, extended: bool = False) -> Stream | None:
        """Return the frames of one id; None where it was not heard."""
        for one in self.streams:
            if (one.bus, one.id, one.extended) == (bus, can_id, extended):
                return one
        return None
