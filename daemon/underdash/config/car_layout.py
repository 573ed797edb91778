"""Fields of a car description: from the file's way of counting to the contract's `Field`, with every check."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from ..contract.layout import Bits, ByteOrder, Checksum, Coding, Counter, Field, Select
from ..contract.requests import ControlUnit, SingleFrameFormat
from ..contract.signals import Kind, Signal, Value
from ..contract.units import UNITS, linear
from .car_tables import BitsTable, ChecksumTable, FieldTable, SelectTable
from .mistakes import MISSING, KeyPath, Mistakes, Words
from .structure import Structure


@dataclass
class Context:
    """What is known while a car file is read.

    Args:
        structure: makes dataclasses and collects mistakes.
        counts_from: 0 or 1, how the file counts bytes.
        signals: known signals, None to accept any name.
        own: signals that the file declares itself.
        strict: a signal that is not among them is a mistake.
        buses: roles that may be referred to.
        units, formats: control units and single-frame formats that may be referred to.
        protocols: further protocols that requests may use.
        broken: units and formats that are there but have mistakes of their own.
    """

    structure: Structure
    counts_from: int
    signals: Mapping[str, Signal] | None
    own: dict[str, Signal] = field(default_factory=dict)
    buses: set[str] = field(default_factory=set)
    units: dict[str, ControlUnit] = field(default_factory=dict)
    formats: dict[str, SingleFrameFormat] = field(default_factory=dict)
    protocols: frozenset[str] = frozenset()
    broken: set[str] = field(default_factory=set)
    strict: bool = True

    @property
    def mistakes(self) -> Mistakes:
        """Where mistakes go."""
        return self.structure.mistakes


def hex_number(text: str, path: KeyPath, mistakes: Mistakes, *, digits: int, what: str) -> int | None:
    """Read a number written in hex digits; None and a mistake if it is not one or has too many."""
    bare = text.removeprefix("0x").removeprefix("0X")
    if not bare or len(bare) > digits or not all(c in "0123456789abcdefABCDEF" for c in bare):
        mistakes.add(path, text, what)
        return None
    return int(bare, 16)


def hex_byte(text: str, path: KeyPath, mistakes: Mistakes) -> int | None:
    """Read a byte such as "5C"."""
    return hex_number(text, path, mistakes, digits=2, what='a byte in one or two hex digits, such as "5C"')


def field_of(raw: object, path: KeyPath, context: Context, frame_bytes: int) -> Field | None:
    """Make a field.

    Args:
        raw: the table in the file.
        path: where it stands.
        context: what is known.
        frame_bytes: bytes the frame or answer can have.

    Returns:
        The field, or None if the table has mistakes, which are then collected.
    """
    table = context.structure.make(FieldTable, raw, path)
    if table is None:
        return None
    before = len(context.mistakes.found)
    coding = Coding(table.coding)
    bits = bits_of(table, path, context, coding=coding, frame_bytes=frame_bytes, what=table.signal)
    known = signal_of(table.signal, (*path, "signal"), context)
    values = _values(table, path, context, known)
    _check_numbers(table, path, context, bits)
    _check_unit(table, path, context, known)
    present = table.present_if
    made = Field(
        table.signal,
        bits or Bits(0),
        coding,
        scale=1.0 if table.scale is None else table.scale,
        offset=table.offset or 0.0,
        points=table.points,
        values=values,
        unit=table.unit,
        unavailable=tuple((u, u) if isinstance(u, int) else u for u in table.unavailable),
        saturates_at=table.saturates_at,
        present_if=None if present is None else bits_of(present, (*path, "present_if"), context, one_bit=True),
        full_scale_from=table.full_scale_from,
        select=None if table.select is None else _select(table.select, (*path, "select"), context),
    )
    return made if len(context.mistakes.found) == before else None


def bits_of(
    table: BitsTable,
    path: KeyPath,
    context: Context,
    *,
    coding: Coding = Coding.UNSIGNED,
    frame_bytes: int = 4096,
    one_bit: bool = False,
    what: str = "bits",
) -> Bits | None:
    """Make bits of any of the three ways to say where they are; None and mistakes if they cannot be.

    `what` is there, for the sentence about one that reaches too far.
    """
    start = _start(table, path, context)
    if start is None:
        return None
    byte, bit, length = start
    if one_bit and length != 1:
        context.mistakes.add((*path, "length"), length, "one bit: give its byte and bit")
        return None
    allowed = _lengths(coding, length, bit)
    if allowed:
        context.mistakes.add((*path, "length"), length, allowed)
        return None
    crosses = (length > 8) if bit is None else not _within_byte(table, bit, length)
    if (crosses or table.start is not None) and table.order is None and coding is not Coding.TEXT:
        why = "the field has more than one byte" if crosses else "DBC counts from either end"
        context.mistakes.add((*path, "order"), MISSING, f'"big" or "little", since {why}')
        return None
    # inside one byte a bit and a length count upwards, unless the file says otherwise
    order = ByteOrder(table.order or ("big" if bit is None else "little"))
    made = Bits(byte, length, bit, order)
    last = last_byte(made)
    if last >= frame_bytes:
        end = frame_bytes - 1 + context.counts_from
        found = Words(f"{what} up to byte {last + context.counts_from}")
        context.mistakes.add(path, found, f"bytes up to {end}")
        return None
    return made


def last_byte(bits: Bits) -> int:
    """Return the number of the last byte a field reaches into, counted from 0."""
    if bits.order is ByteOrder.LITTLE:
        return bits.byte + ((bits.bit or 0) + bits.length - 1) // 8
    first = 8 if bits.bit is None else bits.bit + 1
    return bits.byte + max(0, -(-(bits.length - first) // 8))


def counter_of(table: BitsTable, path: KeyPath, context: Context) -> Counter | None:
    """Make a counter."""
    bits = bits_of(table, path, context, frame_bytes=8)
    return None if bits is None else Counter(bits)


def checksum_of(table: ChecksumTable, path: KeyPath, context: Context) -> Checksum | None:
    """Make a checksum; a sum adds 0 and an exclusive-or xors 0 unless `final` says otherwise."""
    final = table.final or ("FF" if table.kind == "crc8" else "00")
    texts = (("polynomial", table.polynomial), ("initial", table.initial), ("final", final))
    numbers = [hex_byte(text, (*path, name), context.mistakes) for name, text in texts]
    places = [_counted(table, name, path, context) for name in ("byte", "first", "last")]
    if any(n is None for n in numbers):
        return None
    polynomial, initial, end = (n or 0 for n in numbers)
    byte, first, last = places
    if byte is None or byte > 7:
        context.mistakes.add((*path, "byte"), table.byte, "a byte of the frame")
        return None
    if not _checksum_kind_fits(table, end, path, context.mistakes):
        return None
    initial, bit = initial if table.kind == "crc8" else 0, table.bits[0] if table.bits else 0
    return Checksum(table.kind, byte, polynomial, initial, end, first or 0, last, bit, table.reflected, table.negative)


def _checksum_kind_fits(table: ChecksumTable, final: int, path: KeyPath, mistakes: Mistakes) -> bool:
    """Say whether what goes with some kinds only goes with this one; mistakes are collected."""
    half, is_sum = table.kind in ("sum4", "xor4"), table.kind.startswith("sum")
    places = ((0, 3), (4, 7)) if half else (None,)
    where = f"[0, 3] or [4, 7], the half byte of a {table.kind}" if half else f"none: {table.kind} is a whole byte"
    wrong = [
        ("bits", MISSING if table.bits is None else Words(str([*table.bits])), where, table.bits not in places),
        ("final", table.final, "half a byte, in one hex digit", half and final > 0xF),
        ("reflected", True, "only with crc8", table.reflected and table.kind != "crc8"),
        ("negative", True, "only with sum8 or sum4", table.negative and not is_sum),
    ]
    for key, found, allowed, is_wrong in wrong:
        if is_wrong:
            mistakes.add((*path, key), found, allowed)
    return not any(is_wrong for *_, is_wrong in wrong)


def _counted(table: BitsTable | ChecksumTable, name: str, path: KeyPath, context: Context) -> int | None:
    number: int | None = getattr(table, name)
    if number is None:
        return None
    if number < context.counts_from:
        context.mistakes.add((*path, name), number, 'at least 1, since this file says counting = "from 1"')
        return None
    return number - context.counts_from


def _start(table: BitsTable, path: KeyPath, context: Context) -> tuple[int, int | None, int] | None:
    """Return (byte from 0, bit, length) for any of the three ways."""
    mistakes = context.mistakes
    if table.start is not None:
        return _dbc_start(table, table.start, path, mistakes)
    if table.byte is None:
        mistakes.add((*path, "byte"), MISSING, "the byte the field is in, or a DBC `start` bit")
        return None
    byte = _counted(table, "byte", path, context)
    if byte is None or table.bits is None:
        return None if byte is None else (byte, table.bit, table.length or (8 if table.bit is None else 1))
    low, high = table.bits
    if table.bit is not None or table.length is not None or low > high:
        mistakes.add((*path, "bits"), Words(f"[{low}, {high}]"), "[lowest, highest], without `bit` and `length`")
        return None
    return byte, low if table.order != "big" else high, high - low + 1


def _dbc_start(table: BitsTable, start: int, path: KeyPath, mistakes: Mistakes) -> tuple[int, int, int] | None:
    for name in ("byte", "bit", "bits"):
        if getattr(table, name) is not None:
            mistakes.add((*path, name), getattr(table, name), "nothing, since `start` says where the field is")
            return None
    if table.length is None:
        mistakes.add((*path, "length"), MISSING, "number of bits, since `start` says where the field is")
        return None
    return start // 8, start % 8, table.length


def _within_byte(table: BitsTable, bit: int, length: int) -> bool:
    """Tell whether the bits stay in their byte, whichever way they count."""
    return length <= bit + 1 if table.order == "big" else bit + length <= 8


def _lengths(coding: Coding, length: int, bit: int | None) -> str:
    """Say what length a coding needs, "" if this one will do."""
    if coding is Coding.TEXT:
        return "" if length % 8 == 0 and bit is None else "whole bytes for a text: `length` a multiple of 8, no `bit`"
    if coding is Coding.FLOAT:
        return "" if length in (32, 64) else "32 or 64 bits for a float"
    if coding is Coding.BCD and length % 4:
        return "a multiple of 4 bits for bcd"
    return "" if length <= 64 else "at most 64 bits for a number"


def signal_of(name: str, path: KeyPath, context: Context) -> Signal | None:
    """Return a signal, None if it is not known, which can be a mistake."""
    if name in context.own:
        return context.own[name]
    if context.signals is None or name in context.signals:
        return context.signals[name] if context.signals else None
    if context.strict:
        context.mistakes.add_signal(path, name, [*context.own, *context.signals])
    return None


def _values(table: FieldTable, path: KeyPath, context: Context, known: Signal | None) -> tuple[tuple[int, Value], ...]:
    made: list[tuple[int, Value]] = []
    for key, value in (table.values or {}).items():
        where = (*path, "values", key)
        raw = _raw(key)
        if raw is None:
            context.mistakes.add(where, key, "a raw number on the left, such as 3 or 0x1F")
            continue
        if known and not _suits(value, known):
            context.mistakes.add(where, value, _kind_text(known), known.choices)
            continue
        made.append((raw, value))
    if table.values is not None and not table.values:
        context.mistakes.add((*path, "values"), Words("an empty table"), "at least one raw number with its value")
    return tuple(sorted(made, key=lambda pair: pair[0]))


def _raw(key: str) -> int | None:
    try:
        return int(key, 0)
    except ValueError:
        return None


def _suits(value: Value, known: Signal) -> bool:
    if known.kind is Kind.CHOICE:
        return value in known.choices
    return type(value) is {Kind.NUMBER: float, Kind.SWITCH: bool, Kind.TEXT: str}[known.kind]


def _kind_text(known: Signal) -> str:
    if known.kind is Kind.CHOICE:
        return "one of " + ", ".join(known.choices)
    return {Kind.NUMBER: "a number", Kind.SWITCH: "true or false", Kind.TEXT: "text"}[known.kind]


def _check_numbers(table: FieldTable, path: KeyPath, context: Context, bits: Bits | None) -> None:
    add = context.mistakes.add
    if table.scale == 0.0:
        add((*path, "scale"), 0, "a number other than 0")
    scaled = table.scale is not None or table.offset is not None
    if sum((scaled, bool(table.points), table.values is not None)) > 1:
        add(path, Words("more than one way to read the number"), "one of: scale and offset, points, values")
    raws = [raw for raw, _ in table.points]
    if table.points and (len(raws) < 2 or any(b <= a for a, b in pairwise(raws))):
        add((*path, "points"), [*raws], "at least two [raw, value] pairs, raw numbers ascending")
    if bits is None or table.coding not in ("unsigned", "signed"):
        return
    signed = table.coding == "signed"
    low, high = (-1 << bits.length - 1, (1 << bits.length - 1) - 1) if signed else (0, (1 << bits.length) - 1)
    for index, entry in enumerate(table.unavailable):
        first, last = (entry, entry) if isinstance(entry, int) else entry
        if not low <= first <= last <= high:
            add(
                (*path, "unavailable", index),
                Words(f"[{first}, {last}]"),
                f"raw numbers from {low} to {high}, first to last",
            )
    for key in table.values or {}:
        raw = _raw(key)
        if raw is not None and not low <= raw <= high:
            add((*path, "values", key), key, f"raw numbers from {low} to {high}, which is what its bits can hold")
    if table.saturates_at is not None and not low <= table.saturates_at <= high:
        add((*path, "saturates_at"), table.saturates_at, f"a raw number from {low} to {high}")


def _check_unit(table: FieldTable, path: KeyPath, context: Context, known: Signal | None) -> None:
    if table.unit is None:
        return
    if table.unit not in UNITS:
        context.mistakes.add((*path, "unit"), table.unit, "units " + ", ".join(u for u in UNITS if u), UNITS)
    elif known:
        try:
            linear(table.unit, known.unit)
        except ValueError as exc:
            context.mistakes.add((*path, "unit"), table.unit, f"a unit for {known.name}: {exc}")


def _select(table: SelectTable, path: KeyPath, context: Context) -> Select | None:
    bits = bits_of(table, path, context)
    within = None if table.within is None else _select(table.within, (*path, "within"), context)
    if not table.values:
        context.mistakes.add((*path, "values"), Words("an empty list"), "at least one value of the multiplexer")
    highest = 0 if bits is None else (1 << bits.length) - 1
    for index, value in enumerate(() if bits is None else table.values):
        if not 0 <= value <= highest:
            context.mistakes.add((*path, "values", index), value, f"a number that its bits can hold, 0 to {highest}")
    return None if bits is None else Select(bits, table.values, within)


def clash(one: Field, other: Field) -> bool:
    """Tell whether two fields of one frame feed one signal at once, which no multiplexer keeps apart."""
    return one.signal == other.signal and not any(
        a.bits == b.bits and not set(a.values) & set(b.values)
        for a in _levels(one.select)
        for b in _levels(other.select)
    )


def _levels(select: Select | None) -> list[Select]:
    return [] if select is None else [select, *_levels(select.within)]
