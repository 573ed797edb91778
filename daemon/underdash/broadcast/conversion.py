"""One field becomes one closure that reads it, converts it and puts it into its slot.

Scale, offset and the conversion to the signal's stored unit are folded into one factor and one offset at start-up.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from math import inf

from ..bus.frames import Handler
from ..contract.layout import Coding, Field
from ..contract.signals import Kind, Quality, Signal, Value
from ..contract.units import linear
from ..signals.piecewise import piecewise
from ..signals.store import Slot
from .bits import LayoutError, NumberReader, Place, digits, number, place_of, signed, text, unsigned
from .counts import Counts

GOOD = Quality.GOOD

Put = Callable[[Value, Quality, float], None]


def compile_field(field: Field, slot: Slot, slots: Mapping[str, Slot], counts: Counts) -> Handler:
    """Return the closure for a field whose signal somebody wants; it expects a payload that is long enough.

    Raises:
        LayoutError: the field does not fit its signal, or contradicts itself.
    """
    kind = slot.signal.kind
    if field.coding is Coding.TEXT or (field.coding is Coding.BCD and kind is Kind.TEXT):
        return _text(field, slot, counts)
    read = _available(number(field.bits, field.coding), field.unavailable)
    if field.values:
        return _looked_up(read, _table(field, slot), slot, counts)
    if kind is Kind.SWITCH:
        return _switch(read, slot, counts)
    if kind is not Kind.NUMBER:
        raise LayoutError(f"{_named(field)} is a {kind.value}: give it a table of values, or the coding text")
    return _number(read, field, slot, slots, counts)


def _number(read: NumberReader, field: Field, slot: Slot, slots: Mapping[str, Slot], counts: Counts) -> Handler:
    if field.points:
        return _piecewise(read, _converted_points(field, slot), slot, counts)
    reference = slots.get(field.full_scale_from or "")
    if reference is not None:
        return _rescaled(read, field, slot, reference, counts)
    if field.saturates_at is not None:
        return _saturating(read, field, slot, counts)
    if field.unavailable or field.coding in (Coding.FLOAT, Coding.BCD):
        return _linear_if_any(read, field, slot, counts)
    return _linear(field, slot)


def to_stored(field: Field, stored: str) -> tuple[float, float]:
    """Return (factor, offset) from the field's unit to a stored unit.

    Raises:
        LayoutError: a unit is unknown, or measures something else.
    """
    if field.unit is None:
        return 1.0, 0.0
    try:
        return linear(field.unit, stored)
    except ValueError as exc:
        raise LayoutError(f"{_named(field)} cannot be stored in {stored!r}: {exc}") from exc


def _line(field: Field, slot: Slot) -> tuple[float, float]:
    """Return (scale, base) with ``stored value = raw * scale + base``."""
    factor, offset = to_stored(field, slot.signal.unit)
    return field.scale * factor, field.offset * factor + offset


def largest_raw(field: Field) -> int:
    """Return the largest raw number a field can spell."""
    length = field.bits.length
    if field.coding is Coding.BCD:
        return int(10 ** (length // 4)) - 1
    return (1 << (length - 1 if field.coding is Coding.SIGNED else length)) - 1


def _named(field: Field) -> str:
    return f"field {field.signal} at byte {field.bits.byte}"


# --- numbers ----------------------------------------------------------------------------------------------------


def _linear(field: Field, slot: Slot) -> Handler:
    """The common case, spelt out for the places cars use most: each call saved counts on every frame."""
    put = slot.put
    scale, base = _line(field, slot)
    at = place_of(field.bits)
    first, second = at.first, at.first + 1
    if field.coding is Coding.UNSIGNED and at.last <= second:
        if at.last == second:
            return _linear_of_two(at, scale, base, put)
        if at.whole:
            return lambda data, when: put(data[first] * scale + base, GOOD, when)
        shift, mask = at.shift, at.mask
        return lambda data, when: put((data[first] >> shift & mask) * scale + base, GOOD, when)
    read = signed(field.bits) if field.coding is Coding.SIGNED else unsigned(field.bits)
    return lambda data, when: put(read(data) * scale + base, GOOD, when)


def _linear_of_two(at: Place, scale: float, base: float, put: Put) -> Handler:
    first, second, shift, mask = at.first, at.first + 1, at.shift, at.mask
    if at.whole and at.little:
        return lambda data, when: put((data[first] | data[second] << 8) * scale + base, GOOD, when)
    if at.whole:
        return lambda data, when: put((data[first] << 8 | data[second]) * scale + base, GOOD, when)
    if at.little:
        return lambda data, when: put(((data[first] | data[second] << 8) >> shift & mask) * scale + base, GOOD, when)
    return lambda data, when: put(((data[first] << 8 | data[second]) >> shift & mask) * scale + base, GOOD, when)


def _linear_if_any(read: NumberReader, field: Field, slot: Slot, counts: Counts) -> Handler:
    put = slot.put
    scale, base = _line(field, slot)

    def handle(data: bytes, at: float) -> None:
        raw = read(data)
        if raw is None:
            counts.unavailable += 1
        else:
            put(raw * scale + base, GOOD, at)

    return handle


def _saturating(read: NumberReader, field: Field, slot: Slot, counts: Counts) -> Handler:
    put = slot.put
    scale, base = _line(field, slot)
    saturates_at = inf if field.saturates_at is None else field.saturates_at
    saturated = Quality.ABOVE if scale > 0 else Quality.BELOW

    def handle(data: bytes, at: float) -> None:
        raw = read(data)
        if raw is None:
            counts.unavailable += 1
        else:
            put(raw * scale + base, saturated if raw >= saturates_at else GOOD, at)

    return handle


def _rescaled(read: NumberReader, field: Field, slot: Slot, reference: Slot, counts: Counts) -> Handler:
    """A field whose largest value is another signal's, where that one is known and not 0 (SAE J1979 PIDs 4F, 50)."""
    put = slot.put
    scale, base = _line(field, slot)
    largest = largest_raw(field)
    saturates_at = inf if field.saturates_at is None else field.saturates_at
    factor, offset = _between(reference, slot, field)

    def handle(data: bytes, at: float) -> None:
        raw = read(data)
        if raw is None:
            counts.unavailable += 1
            return
        full = reference.value
        if full and isinstance(full, float):
            # where the usual scale ends says nothing on another one, which ends with the largest number
            by, end = (full * factor + offset - base) / largest, max(saturates_at, largest)
        else:
            by, end = scale, saturates_at
        put(raw * by + base, Quality.ABOVE if raw >= end else GOOD, at)

    return handle


def _between(reference: Slot, slot: Slot, field: Field) -> tuple[float, float]:
    try:
        return linear(reference.signal.unit, slot.signal.unit)
    except ValueError as exc:
        raise LayoutError(f"{_named(field)} cannot take its full scale from {reference.signal.name}: {exc}") from exc


def _available(read: NumberReader, ranges: tuple[tuple[int, int], ...]) -> NumberReader:
    """Leave out the raw numbers that mean "not available"."""
    if not ranges:
        return read
    if len(ranges) == 1:
        low, high = ranges[0]

        def outside(data: bytes) -> float | None:
            raw = read(data)
            return None if raw is None or low <= raw <= high else raw

        return outside

    def outside_all(data: bytes) -> float | None:
        raw = read(data)
        return None if raw is None or any(low <= raw <= high for low, high in ranges) else raw

    return outside_all


# --- points -----------------------------------------------------------------------------------------------------


def _converted_points(field: Field, slot: Slot) -> list[tuple[float, float]]:
    factor, offset = to_stored(field, slot.signal.unit)
    raws = [raw for raw, _ in field.points]
    if len(raws) < 2 or any(a >= b for a, b in pairwise(raws)):
        raise LayoutError(f"{_named(field)}: points need at least two, with raw numbers that rise; found {raws}")
    return [(raw, value * factor + offset) for raw, value in field.points]


def _piecewise(read: NumberReader, points: list[tuple[float, float]], slot: Slot, counts: Counts) -> Handler:
    put = slot.put
    value_of = piecewise(points)

    def handle(data: bytes, at: float) -> None:
        raw = read(data)
        if raw is None:
            counts.unavailable += 1
        else:
            value, quality = value_of(raw)
            put(value, quality, at)

    return handle


# --- tables, switches, text -------------------------------------------------------------------------------------


def _table(field: Field, slot: Slot) -> dict[float, Value]:
    """The table of values in what the signal stores, each checked against its kind."""
    signal = slot.signal
    factor, offset = to_stored(field, signal.unit) if signal.kind is Kind.NUMBER else (1.0, 0.0)
    table: dict[float, Value] = {}
    for raw, value in field.values:
        if not _belongs(value, signal):
            raise LayoutError(f"{_named(field)}: {value!r} is not a value of {signal.name}; allowed: {_meant(signal)}")
        table[raw] = value if isinstance(value, (bool, str)) else value * factor + offset
    return table


def _belongs(value: Value, signal: Signal) -> bool:
    if signal.kind is Kind.NUMBER:
        return not isinstance(value, (bool, str))
    if signal.kind is Kind.SWITCH:
        return isinstance(value, bool)
    return isinstance(value, str) and (not signal.choices or signal.kind is Kind.TEXT or value in signal.choices)


def _meant(signal: Signal) -> str:
    by_kind = {Kind.SWITCH: "true or false", Kind.NUMBER: "a number", Kind.TEXT: "text"}
    return by_kind.get(signal.kind) or ", ".join(signal.choices) or "text"


def _looked_up(read: NumberReader, table: dict[float, Value], slot: Slot, counts: Counts) -> Handler:
    put = slot.put
    find = table.get

    def handle(data: bytes, at: float) -> None:
        raw = read(data)
        if raw is None:
            counts.unavailable += 1
            return
        value = find(raw)
        if value is not None:
            put(value, GOOD, at)

    return handle


def _switch(read: NumberReader, slot: Slot, counts: Counts) -> Handler:
    put = slot.put

    def handle(data: bytes, at: float) -> None:
        raw = read(data)
        if raw is None:
            counts.unavailable += 1
        else:
            put(raw != 0, GOOD, at)

    return handle


def _text(field: Field, slot: Slot, counts: Counts) -> Handler:
    if slot.signal.kind not in (Kind.TEXT, Kind.CHOICE):
        raise LayoutError(f"{_named(field)} spells text, but {slot.signal.name} is a {slot.signal.kind.value}")
    put = slot.put
    read = text(field.bits) if field.coding is Coding.TEXT else digits(field.bits)

    def handle(data: bytes, at: float) -> None:
        value = read(data)
        if value:
            put(value, GOOD, at)
        else:
            counts.unavailable += 1

    return handle
