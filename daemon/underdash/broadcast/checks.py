"""Counters and checksums: does a frame say the truth about itself, and is it a new one.

The algorithms are the trade's; which one a frame uses, and over which bytes, is declared with it.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from ..contract.layout import Checksum, Counter
from .bits import LayoutError, bytes_needed, place_of, unsigned
from .counts import Counts

Check = Callable[[bytes], bool]
"""Says whether a frame may be decoded; counts it where not."""

_HALVES = ("sum4", "xor4")
_KINDS = ("crc8", "sum8", "xor8", *_HALVES)
_REVERSED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


@lru_cache(maxsize=16)
def crc8_table(polynomial: int, *, reflected: bool = False) -> bytes:
    """Return the 256 remainders of a CRC-8 (polynomial without its highest bit); `reflected` shifts right."""
    table = bytearray(256)
    for start in range(256):
        remainder = start
        for _ in range(8):
            remainder = (remainder << 1 ^ (polynomial if remainder & 0x80 else 0)) & 0xFF
        table[start] = remainder
    return bytes(_REVERSED[table[_REVERSED[byte]]] for byte in range(256)) if reflected else bytes(table)


def checksum(declared: Checksum) -> Callable[[bytes], int]:
    """Return the function that works out what the checksum of a frame should be: a byte, or half of one.

    Raises:
        LayoutError: an unknown kind, or numbers that do not fit its bits.
    """
    _vet(declared)
    final = (0xFF if declared.kind == "crc8" else 0) if declared.final is None else declared.final
    if declared.kind in _HALVES:
        return _of_halves(declared, final)
    covered, sign = _covered(declared), -1 if declared.negative else 1
    if declared.kind == "sum8":
        return lambda data: sign * sum(covered(data)) + final & 0xFF
    if declared.kind == "xor8":
        return lambda data: _xor(covered(data)) ^ final
    table = crc8_table(declared.polynomial, reflected=declared.reflected)
    initial = _REVERSED[declared.initial] if declared.reflected else declared.initial

    def crc8(data: bytes) -> int:
        remainder = initial
        for byte in covered(data):
            remainder = table[remainder ^ byte]
        return remainder ^ final

    return crc8


def _of_halves(declared: Checksum, final: int) -> Callable[[bytes], int]:
    """Sum up half bytes, or xor them; the other half of the checksum's own byte counts where that byte is covered."""
    first, own, others = declared.first, declared.byte, 0xF0 >> declared.bit
    end = None if declared.last is None else declared.last + 1
    sign = -1 if declared.negative else 1

    def covered(data: bytes) -> bytearray:
        some = bytearray(data)
        some[own] &= others
        return some[first:end]

    if declared.kind == "sum4":
        return lambda data: sign * sum((byte & 0xF) + (byte >> 4) for byte in covered(data)) + final & 0xF

    def xor4(data: bytes) -> int:
        both = _xor(covered(data))
        return both & 0xF ^ both >> 4 ^ final

    return xor4


def _vet(declared: Checksum) -> None:
    if declared.kind not in _KINDS:
        raise LayoutError(f"checksum kind {declared.kind!r} is not known; known are {', '.join(_KINDS)}")
    half = declared.kind in _HALVES
    numbers = (declared.polynomial, declared.initial, declared.final or 0)
    if any(not 0 <= value <= 0xFF for value in numbers) or (half and numbers[2] > 0xF):
        what = "final is half a byte" if half else "polynomial, initial and final are bytes"
        raise LayoutError(f"checksum {declared.kind}: {what}; found {numbers}")
    if declared.bit not in ((0, 4) if half else (0,)):
        raise LayoutError(f"checksum {declared.kind}: bit {declared.bit}; only half a byte has one, 0 or 4")
    if declared.negative and not declared.kind.startswith("sum"):
        raise LayoutError(f"checksum {declared.kind}: only a sum can be negative")
    if declared.reflected and declared.kind != "crc8":
        raise LayoutError(f"checksum {declared.kind}: only a CRC can be reflected")
    last = declared.last
    if declared.byte < 0 or declared.first < 0 or (last is not None and last < declared.first):
        raise LayoutError(
            f"checksum at byte {declared.byte} over bytes {declared.first} to {last}: bytes count from 0, first to last"
        )


def _covered(declared: Checksum) -> Callable[[bytes], bytes]:
    """The bytes a checksum runs over, its own left out."""
    first, own = declared.first, declared.byte
    end = None if declared.last is None else declared.last + 1
    if own < first or (end is not None and own >= end):
        return lambda data: data[first:end]
    return lambda data: data[first:own] + data[own + 1 : end]


def _xor(data: bytes | bytearray) -> int:
    result = 0
    for byte in data:
        result ^= byte
    return result


def checksum_writer(declared: Checksum) -> Callable[[bytearray], None]:
    """Return the function that puts the checksum into a frame; raises LayoutError as `checksum` does."""
    expected, own = checksum(declared), declared.byte
    place = place_of(declared.bits)
    others = 0xFF & ~(place.mask << place.shift)

    def write(data: bytearray) -> None:
        data[own] = data[own] & others | expected(bytes(data)) << place.shift

    return write


def checksum_length(declared: Checksum) -> int:
    """Return how many bytes a frame must have for its checksum to be there."""
    return max(declared.byte, declared.last or 0) + 1


def checksum_check(declared: Checksum, counts: Counts) -> Check:
    """Return the check that drops frames whose checksum is wrong; raises LayoutError as `checksum` does."""
    expected = checksum(declared)
    own, place = declared.byte, place_of(declared.bits)
    shift, mask = place.shift, place.mask

    def check(data: bytes) -> bool:
        if data[own] >> shift & mask == expected(data):
            return True
        counts.checksum += 1
        return False

    return check


def counter_check(declared: Counter, counts: Counts) -> Check:
    """Return the check that drops repetitions and counts jumps.

    A counter that stands still is a frame already seen, or a sender that hangs. One that moved by more than one means
    that frames were missed; what this one says is still true.
    """
    read = unsigned(declared.bits)
    mask = place_of(declared.bits).mask
    last: int | None = None

    def check(data: bytes) -> bool:
        nonlocal last
        count = read(data)
        if last is not None and count != last + 1 & mask:
            if count == last:
                counts.repeated += 1
                return False
            counts.jumped += 1
        last = count
        return True

    return check


def counter_length(declared: Counter) -> int:
    """Return how many bytes a frame must have for its counter to be there."""
    return bytes_needed(declared.bits)
