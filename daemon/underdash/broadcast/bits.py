"""Getting a run of bits out of a payload: each declared place becomes one closure made for its case."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite
from typing import Literal

from ..contract.errors import UnderdashError
from ..contract.layout import Bits, ByteOrder, Coding

IntReader = Callable[[bytes], int]
NumberReader = Callable[[bytes], "float | None"]
"""Reads a raw number; None where the bits spell none (BCD digits above 9, a float that is not a number)."""
TextReader = Callable[[bytes], str]

FLOAT_CODES = {16: "e", 32: "f", 64: "d"}
"""IEEE 754 binary16, binary32 and binary64 by their length in bits."""

_INT_CODES = {16: "H", 32: "I", 64: "Q"}


class LayoutError(UnderdashError):
    """A layout that cannot be read as it is declared."""


@dataclass(frozen=True, slots=True)
class Place:
    """A run of bits as arithmetic: bytes `first` to `last` as one number, shifted right, `length` bits kept."""

    first: int
    last: int
    shift: int
    length: int
    little: bool

    @property
    def order(self) -> Literal["little", "big"]:
        """The byte order, as `int.from_bytes` takes it."""
        return "little" if self.little else "big"

    @property
    def mask(self) -> int:
        """Ones over the length of the run."""
        return (1 << self.length) - 1

    @property
    def whole(self) -> bool:
        """Whether it fills its bytes."""
        return self.length == 8 * (self.last - self.first + 1)


@lru_cache(maxsize=4096)
def place_of(bits: Bits) -> Place:
    """Work out which bytes a run of bits touches and where it sits in them.

    Raises:
        LayoutError: a byte, bit or length that no payload can have.
    """
    little = bits.order is ByteOrder.LITTLE
    bit = (0 if little else 7) if bits.bit is None else bits.bit
    if bits.byte < 0 or not 0 <= bit <= 7 or bits.length < 1:
        raise LayoutError(
            f"bits at byte {bits.byte}, bit {bit}, length {bits.length}: the byte counts from 0, the bit is 0 to 7 and "
            "the length at least 1; correct the field"
        )
    before = bit if little else 7 - bit
    last = bits.byte + (before + bits.length - 1) // 8
    shift = bit if little else 8 * (last - bits.byte + 1) - before - bits.length
    return Place(bits.byte, last, shift, bits.length, little)


def bytes_needed(bits: Bits) -> int:
    """Return how long a payload must be to hold these bits."""
    return place_of(bits).last + 1


def unsigned(bits: Bits) -> IntReader:
    """Return the closure that reads an unsigned number, the quickest for where it sits.

    Raises:
        LayoutError: longer than 64 bits, or a place no payload has.
    """
    at = place_of(bits)
    if at.length > 64:
        raise LayoutError(f"a number of {at.length} bits: 64 is the most; only text may be longer")
    first, second = at.first, at.first + 1
    if at.last == first:
        return _within_byte(first, at.shift, at.mask)
    if at.last > second:
        return _across_bytes(at)
    if at.whole:
        if at.little:
            return lambda data: data[first] | data[second] << 8
        return lambda data: data[first] << 8 | data[second]
    shift, mask = at.shift, at.mask
    if at.little:
        return lambda data: (data[first] | data[second] << 8) >> shift & mask
    return lambda data: (data[first] << 8 | data[second]) >> shift & mask


def _within_byte(first: int, shift: int, mask: int) -> IntReader:
    if mask == 0xFF:
        return lambda data: data[first]
    if shift == 0:
        return lambda data: data[first] & mask
    return lambda data: data[first] >> shift & mask


def _across_bytes(at: Place) -> IntReader:
    first, end, shift, mask = at.first, at.last + 1, at.shift, at.mask
    from_bytes = int.from_bytes
    if at.little:
        return lambda data: from_bytes(data[first:end], "little") >> shift & mask
    return lambda data: from_bytes(data[first:end], "big") >> shift & mask


def signed(bits: Bits) -> IntReader:
    """Return the closure that reads a number in two's complement; raises LayoutError as `unsigned` does."""
    read = unsigned(bits)
    sign = 1 << bits.length - 1
    return lambda data: (read(data) ^ sign) - sign


def number(bits: Bits, coding: Coding) -> NumberReader:
    """Return the closure that reads a raw number in any coding but text.

    Raises:
        LayoutError: a length the coding does not have, or a place no payload has.
    """
    if coding is Coding.UNSIGNED:
        return unsigned(bits)
    if coding is Coding.SIGNED:
        return signed(bits)
    if coding is Coding.FLOAT:
        return _floating(bits)
    if coding is Coding.BCD:
        return _decimal_number(bits)
    raise LayoutError(f"coding {coding.value!r} spells no number; a number is unsigned, signed, float or bcd")


def _floating(bits: Bits) -> NumberReader:
    """IEEE 754, as the bits of an unsigned number of that length; infinities and not-a-numbers spell nothing."""
    if bits.length not in FLOAT_CODES:
        raise LayoutError(f"a float of {bits.length} bits: it has 16, 32 or 64")
    read = unsigned(bits)
    pack = struct.Struct(">" + _INT_CODES[bits.length]).pack
    unpack = struct.Struct(">" + FLOAT_CODES[bits.length]).unpack

    def floating(data: bytes) -> float | None:
        value: float = unpack(pack(read(data)))[0]
        return value if isfinite(value) else None

    return floating


def digits(bits: Bits) -> TextReader:
    """Return the closure that reads binary coded decimal as its digits, zeros in front kept; a to f show as such.

    Raises:
        LayoutError: the length is not a multiple of four, or a place no payload has.
    """
    if bits.length % 4:
        raise LayoutError(f"binary coded decimal of {bits.length} bits: four bits a digit")
    read = unsigned(bits)
    width = bits.length // 4
    return lambda data: f"{read(data):0{width}x}"


def _decimal_number(bits: Bits) -> NumberReader:
    read = digits(bits)

    def decimal(data: bytes) -> float | None:
        spelt = read(data)
        return int(spelt) if spelt.isdecimal() else None

    return decimal


_PRINTABLE = bytes(byte if 0x20 <= byte < 0x7F else 0xFF for byte in range(256))


def text(bits: Bits) -> TextReader:
    """Return the closure that reads characters in the order of the payload, padding (NUL, FF, space) taken off.

    What cannot be printed becomes the sign that stands for unknown ones: it would break lines on panels and in logs.

    Raises:
        LayoutError: the field is not made of whole bytes.
    """
    at = place_of(bits)
    if not at.whole:
        raise LayoutError(f"text of {bits.length} bits at bit {bits.bit}: characters fill whole bytes")
    first, end = at.first, at.last + 1
    return lambda data: data[first:end].strip(b"\0\xff ").translate(_PRINTABLE).decode("ascii", "replace")
