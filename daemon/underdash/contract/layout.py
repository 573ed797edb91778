"""Where values sit in a frame or an answer, as declarations; `underdash.broadcast` compiles them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from .signals import Value


class ByteOrder(StrEnum):
    """Which byte of a number comes first."""

    BIG = "big"
    LITTLE = "little"


class Coding(StrEnum):
    """How the bits spell a value."""

    UNSIGNED = "unsigned"
    SIGNED = "signed"
    FLOAT = "float"
    BCD = "bcd"
    TEXT = "text"


@dataclass(frozen=True, slots=True)
class Bits:
    """A run of bits in a payload.

    Args:
        byte: counted from 0; the byte that holds the bit named by `bit`.
        length: number of bits, 1 to 64 (text: a multiple of 8, as long as the payload).
        bit: 0 is the least significant of its byte. In little-endian order it is where the field's least
            significant bit sits, in big-endian order where its most significant bit sits (the way DBC files count).
            None means a field of whole bytes: 0 and 7 respectively.
        order: byte order.
    """

    byte: int
    length: int = 8
    bit: int | None = None
    order: ByteOrder = ByteOrder.BIG


@dataclass(frozen=True, slots=True)
class Select:
    """The field is there only while the multiplexer `bits` reads one of `values`; `within` nests."""

    bits: Bits
    values: tuple[int, ...]
    within: Select | None = None


@dataclass(frozen=True, slots=True)
class Field:
    """One signal in a payload.

    The value is ``raw * scale + offset`` (or read off `points`, or looked up in `values`), in `unit`.

    Args:
        signal: name of the signal it feeds.
        bits: where it is.
        coding: how it is spelt.
        scale, offset: applied to the raw number.
        points: piecewise linear table of (raw, value), ascending; outside it the end value holds and the quality
            says above or below.
        values: table of (raw, value) for switches and choices; a raw value that is not in it gives nothing.
        unit: unit of the result if it is not the signal's stored one; it must be convertible.
        unavailable: raw ranges (first, last) that mean "not available".
        saturates_at: raw value from which on the true value may be larger.
        present_if: a bit that must be set for the field to be there.
        full_scale_from: raw field whose value, where not 0, replaces the largest value this field can spell
            (SAE J1979 PIDs 4F and 50 rescale others that way).
        select: multiplexer condition.
    """

    signal: str
    bits: Bits
    coding: Coding = Coding.UNSIGNED
    scale: float = 1.0
    offset: float = 0.0
    points: tuple[tuple[float, float], ...] = ()
    values: tuple[tuple[int, Value], ...] = ()
    unit: str | None = None
    unavailable: tuple[tuple[int, int], ...] = ()
    saturates_at: int | None = None
    present_if: Bits | None = None
    full_scale_from: str | None = None
    select: Select | None = None


@dataclass(frozen=True, slots=True)
class Counter:
    """A counter that moves by one a frame; a frame that repeats the last count is dropped as a repetition."""

    bits: Bits


@dataclass(frozen=True, slots=True)
class Checksum:
    """A byte, or half of one, that must equal a sum over the others.

    Args:
        kind: "crc8", "sum8" or "xor8" over bytes; "sum4" or "xor4" over half bytes, into half a byte.
        byte: where it sits.
        polynomial, initial: of the CRC-8; SAE J1850's unless given.
        final: xored to the result, for a sum added to it; None means 0xFF for "crc8" and 0 for the others.
        first, last: bytes summed over, the checksum's own bits left out; last None is the end of the frame.
        bit: of half a byte its lowest bit, 0 or 4.
        reflected: a CRC-8 that takes and gives each byte from its lowest bit on.
        negative: a sum that is taken from `final`, so that all of it together comes to that.
    """

    kind: str
    byte: int
    polynomial: int = 0x1D
    initial: int = 0xFF
    final: int | None = None
    first: int = 0
    last: int | None = None
    bit: int = 0
    reflected: bool = False
    negative: bool = False

    @property
    def bits(self) -> Bits:
        """Where it is."""
        return Bits(self.byte, 4, self.bit + 3) if self.kind in ("sum4", "xor4") else Bits(self.byte)


@dataclass(frozen=True, slots=True)
class BroadcastListener:
    """A frame that is sent without being asked for, and what is in it.

    Args:
        bus: role of the bus, such as "drive".
        id: CAN id.
        extended: 29-bit id.
        fields: what it carries.
        period_s: how often it comes, where known; otherwise it is measured, as it is for fields under a multiplexer.
        on_change: sent on change only, so that silence does not make it old.
        shortest: bytes a frame must have at least; None means as many as its fields need.
        counter, checksum: checks; a frame that fails is counted and dropped.
        note: who found it and how it was checked.
    """

    bus: str
    id: int
    fields: tuple[Field, ...]
    extended: bool = False
    period_s: float | None = None
    on_change: bool = False
    shortest: int | None = None
    counter: Counter | None = None
    checksum: Checksum | None = None
    note: str = ""
