"""Checksums: bytes and nibbles that follow from the rest of the frame by one of the trade's rules.

A rule is tried at every place where it could sit. What a frame adds to the sum beside its bytes (an id, a length, a
secret start value) is one constant per id as long as the length stays the same, so it need not be guessed: it is what
is left over, and a rule holds where that is always the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...broadcast.checks import crc8_table
from ...bus.frames import key_of
from ...contract.layout import Bits, Checksum
from ..heard import Bytes, Flags, Stream
from ..numbering import Numbering
from .counters import Count

POLYNOMIALS = (0x1D, 0x2F, 0x07, 0x31, 0x39, 0x9B, 0xD5, 0x4D)
"""CRC-8 polynomials in use (common practice): 1D SAE J1850, 2F AUTOSAR's second, the rest of other trades."""
FEWEST_BYTE, FEWEST_NIBBLE = 6, 8
"""Different payloads needed: a wrong rule fits one more by chance with 1/256 or 1/16, and some 200 are tried."""
HOLDS = 0.98
"""Share of the different payloads a rule must fit; a sender that starts up may send a few without it."""
FOLLOWS = 0.75
"""Share of the payloads at which a checksum must change when anything else does; a nibble stays by chance at 1/16."""
MOST_ROWS = 1000

_BITS_REVERSED = np.array([int(f"{n:08b}"[::-1], 2) for n in range(256)], dtype=np.uint8)


@dataclass(frozen=True, slots=True)
class Sum:
    """A checksum.

    Attributes:
        kind: ``crc8``, ``sum8``, ``xor8`` over bytes, ``sum4``, ``xor4`` over half bytes.
        byte, bit, length: where it sits: the byte, its lowest bit there, 8 or 4 bits.
        constant: what is added (sums) or xored (others) to the result over the other bytes.
        polynomial: of a CRC.
        negative: a sum that brings the total to the constant instead of repeating it.
        reflected: a CRC that shifts right.
        last: the last byte it runs over; None means all others.
        share: of the different payloads, how many fit.
        payloads: different payloads it was seen on.
        rivals: other rules that fit as well.
    """

    kind: str
    byte: int
    bit: int
    length: int
    constant: int
    polynomial: int | None = None
    negative: bool = False
    reflected: bool = False
    last: int | None = None
    share: float = 1.0
    payloads: int = 0
    rivals: tuple[str, ...] = ()

    @property
    def bits(self) -> Bits:
        """Where it is."""
        return Bits(self.byte, 8) if self.length == 8 else Bits(self.byte, 4, self.bit + 3)

    def __str__(self) -> str:
        """Say what it is: ``sum8 of all others, plus CB``."""
        covered = "all others" if self.last is None else f"those up to byte {self.last}"
        of = "" if self.length == 8 else "half bytes of "
        how = {"sum8": "plus", "sum4": "plus"}.get(self.kind, "xor") if not self.negative else "together always"
        constant = f"{self.constant:0{self.length // 4}X}"
        return f"{self._name} over {of}{covered}, {how} {constant}"

    @property
    def _name(self) -> str:
        words = [self.kind] + ([f"{self.polynomial:02X}"] if self.polynomial is not None else [])
        return " ".join(words + (["reflected"] if self.reflected else []))

    @property
    def rule(self) -> str:
        """The rule in a few words: ``crc8 1D``, ``sum8 negative``."""
        words = [self._name]
        words += [f"up to byte {self.last}"] if self.last is not None else []
        return " ".join(words + (["negative"] if self.negative else []))

    def declared(self) -> Checksum:
        """Return how a description declares it."""
        made = Checksum(self.kind, self.byte, final=self.constant, last=self.last, bit=self.bit, negative=self.negative)
        if self.polynomial is None:
            return made
        return replace(made, polynomial=self.polynomial, initial=0, reflected=self.reflected)


def checksum_of(stream: Stream, counts: Sequence[Count] = ()) -> Sum | None:
    """Find the checksum of one id: a whole byte, or else half a byte.

    Some rules hold at several places alike. Then it is rather not where one of the `counts` sits, and rather late.
    """
    rows = payloads(stream)
    if len(rows) < FEWEST_BYTE:
        return None
    counting = _counting(counts, stream.width)
    found = _at_bytes(rows, counting)
    if not found and len(rows) >= FEWEST_NIBBLE:
        found = _at_nibbles(rows)
    if not found:
        return None
    best = min(found, key=lambda one: (-one.share, counting[one.byte * 2 + one.bit // 4], -one.byte, -one.bit))
    rivals = tuple(
        f"{one.rule} at {'' if one.length == 8 else 'half '}byte {one.byte}"
        for one in found
        if one is not best and one.share >= best.share
    )
    return replace(best, rivals=rivals)


def _counting(counts: Sequence[Count], width: int) -> list[bool]:
    """Which half bytes hold a counter that starts at 0; a checksum that follows one counts too, but from elsewhere."""
    held = {bit // 4 for one in counts if one.first == 0 for bit in Numbering.run_of(one.bits, width)}
    return [half in held for half in range(2 * width)]


def payloads(stream: Stream) -> Bytes:
    """The different payloads of the usual length in the order they came, `MOST_ROWS` at most."""
    usual = np.bincount(stream.length).argmax()
    rows: Bytes = stream.data[stream.length == usual][:, : int(usual)]
    if len(rows) == 0 or rows.shape[1] == 0:
        return rows[:0]
    wide = np.zeros((len(rows), Numbering.MOST_BYTES), dtype=np.uint8)
    wide[:, : rows.shape[1]] = rows
    numbers = wide.view(np.uint64)[:, 0]
    moved = np.flatnonzero(np.concatenate(([True], numbers[1:] != numbers[:-1])))
    moved = moved[:: -(-len(moved) // (8 * MOST_ROWS))]
    _, first = np.unique(numbers[moved], return_index=True)
    kept = moved[np.sort(first)]
    return rows[kept[:: -(-len(kept) // MOST_ROWS)]]


def _at_bytes(rows: Bytes, counting: Sequence[bool]) -> list[Sum]:
    """Rules that hold for a whole byte: over all others, or over those before it; the simplest first."""
    found = []
    for byte in range(rows.shape[1]):
        own, others = rows[:, byte], np.delete(rows, byte, axis=1)
        if not follows(own, others) or (_repeats(own, others) and not any(counting)):
            continue
        for last, covered in ((None, others), (byte - 1, rows[:, :byte])):
            if last is None or (0 < byte < rows.shape[1] - 1 and not _still(rows[:, byte + 1 :])):
                found += [
                    Sum(kind, byte, 0, 8, constant, polynomial, negative, reflected, last, share, len(rows))
                    for kind, polynomial, negative, reflected, left in _left_over(own, covered)
                    for constant, share in [_most(left)]
                    if share >= HOLDS
                ]
    return found


def _left_over(own: Bytes, others: Bytes) -> Iterator[tuple[str, int | None, bool, bool, Bytes]]:
    """Each rule with what it leaves over: constant where the rule is right."""
    total = others.sum(axis=1, dtype=np.uint8)
    yield "sum8", None, False, False, own - total
    yield "sum8", None, True, False, own + total
    yield "xor8", None, False, False, own ^ np.bitwise_xor.reduce(others, axis=1)
    for reflected in (False, True):
        data = _BITS_REVERSED[others] if reflected else others
        for polynomial in POLYNOMIALS:
            table = np.frombuffer(crc8_table(polynomial), dtype=np.uint8)
            remainder = np.zeros(len(own), dtype=np.uint8)
            for column in data.T:
                remainder = table[remainder ^ column]
            yield "crc8", polynomial, False, reflected, own ^ (_BITS_REVERSED[remainder] if reflected else remainder)


def _at_nibbles(rows: Bytes) -> list[Sum]:
    """Rules that hold for half a byte: over all other halves, or over those up to its own byte."""
    halves = np.stack([rows & 0xF, rows >> 4], axis=2).reshape(len(rows), -1)
    found = []
    for place in range(halves.shape[1]):
        own, others = halves[:, place], np.delete(halves, place, axis=1)
        if not follows(own, others) or _repeats(own, others):
            continue
        byte, end = place // 2, 2 * (place // 2) + 2
        for last, covered in ((None, others), (byte, np.delete(halves[:, :end], place, axis=1))):
            if last is None or not _still(halves[:, end:]):
                found += [
                    Sum(kind, byte, 4 * (place % 2), 4, constant, negative=negative, last=last, share=share,
                        payloads=len(rows))
                    for kind, negative, left in _left_over_half(own, covered)
                    for constant, share in [_most(left)]
                    if share >= HOLDS
                ]  # fmt: skip
    return found


def _left_over_half(own: Bytes, others: Bytes) -> Iterator[tuple[str, bool, Bytes]]:
    """Each rule of half bytes with what it leaves over."""
    total = others.sum(axis=1, dtype=np.uint8)
    yield "sum4", False, (own - total) & 0xF
    yield "sum4", True, (own + total) & 0xF
    yield "xor4", False, own ^ np.bitwise_xor.reduce(others, axis=1)


def _still(rows: Bytes) -> bool:
    return not bool((rows != rows[0]).any())


def follows(own: Bytes, others: Bytes) -> bool:
    """Whether the place changes when the others do, never without them, and takes more than two values."""
    if len(np.unique(own)) < 4:
        return False
    elsewhere: Flags = (others[1:] != others[:-1]).any(axis=1)
    moved: Flags = own[1:] != own[:-1]
    if (moved & ~elsewhere).any() or not elsewhere.any():
        return False
    return bool(moved[elsewhere].mean() >= FOLLOWS)


def _most(left: NDArray[np.uint8]) -> tuple[int, float]:
    """The commonest left-over and its share."""
    counts = np.bincount(left)
    return int(counts.argmax()), float(counts.max() / len(left))


def _repeats(own: Bytes, others: Bytes) -> bool:
    """Whether the place only repeats another: a value told twice, not a checksum."""
    return bool((others == own[:, None]).all(axis=0).any())


def takes_in(one: Sum, stream: Stream) -> str:
    """Say where a plain sum's constant may come from: ``the id and the length``; "" where that does not show."""
    if one.kind != "sum8" or one.negative:
        return ""
    key = key_of(stream.id, stream.extended)
    id_sum = sum(stream.id.to_bytes(4, "big")) & 0xFF
    length = int(np.bincount(stream.length).argmax())
    if one.constant == id_sum + length & 0xFF:
        return "the id and the length"
    return "the id" if one.constant == id_sum and key else ""


def bits_of(one: Sum | None, stream: Stream) -> Flags:
    """Return which bits of the stream's payload belong to the checksum, shape (8 * width,)."""
    mask = np.zeros(8 * stream.width, dtype=bool)
    if one is not None:
        mask[8 * one.byte + one.bit : 8 * one.byte + one.bit + one.length] = True
    return mask
