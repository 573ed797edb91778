"""Bits of a payload in a row: the numbering in which a field of either byte order is one unbroken run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from ..broadcast.bits import place_of
from ..contract.layout import Bits, ByteOrder
from .heard import Stream


@dataclass(frozen=True, slots=True)
class Numbering:
    """Positions of bits, counted upwards in significance.

    Attributes:
        width: bytes of the payload; 8 at most.
        big: whether the last byte holds the least significant bits (big-endian).
    """

    MOST_BYTES: ClassVar[int] = 8

    width: int
    big: bool

    @property
    def length(self) -> int:
        """Bits in the payload."""
        return 8 * self.width

    def bit(self, position: int) -> int:
        """Return the bit's number, 8 * byte + bit, of a position; the same the other way round."""
        return 8 * (self.width - 1 - position // 8) + position % 8 if self.big else position

    def run(self, low: int, length: int) -> tuple[int, ...]:
        """Return the numbers of `length` bits from a position upwards, the least significant first."""
        return tuple(self.bit(position) for position in range(low, low + length))

    def sort(self, of_bits: NDArray[Any]) -> NDArray[Any]:
        """Put what belongs to each bit, shape (8 * width, ...), into the order of positions."""
        return of_bits[list(self.run(0, self.length))]

    def numbers(self, stream: Stream) -> NDArray[np.uint64]:
        """Read each payload as one number, shape (frames,)."""
        wide = np.zeros((len(stream), self.MOST_BYTES), dtype=np.uint8)
        wide[:, : self.width] = stream.data[:, ::-1] if self.big else stream.data
        return wide.view("<u8")[:, 0].astype(np.uint64)

    def bits(self, low: int, length: int) -> Bits:
        """Return the run as a description declares it; one within a byte counts as big-endian, the default."""
        first, last = self.bit(low), self.bit(low + length - 1)
        if self.big or first // 8 == last // 8:
            return Bits(last // 8, length, None if last % 8 == 7 and length % 8 == 0 else last % 8)
        return Bits(first // 8, length, None if first % 8 == 0 and length % 8 == 0 else first % 8, ByteOrder.LITTLE)

    @staticmethod
    def run_of(bits: Bits, width: int) -> tuple[int, ...]:
        """Return the numbers of a declared run's bits, the least significant first."""
        place = place_of(bits)
        if place.little:
            low = 8 * place.first + place.shift
            return Numbering(width, big=False).run(low, place.length)
        return Numbering(width, big=True).run(8 * (width - 1 - place.last) + place.shift, place.length)
