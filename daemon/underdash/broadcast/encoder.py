"""The inverse of decoding, for simulated cars: values become the bytes their fields are read from."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping
from itertools import pairwise

from ..bus.frames import id_text, key_of
from ..contract.errors import UnderdashError
from ..contract.layout import Bits, BroadcastListener, Coding, Field, Select
from ..contract.signals import Value
from .bits import FLOAT_CODES, LayoutError, bytes_needed, place_of
from .checks import checksum_writer
from .conversion import largest_raw, to_stored
from .decoder import shortest_frame
from .fields import field_length


class EncodeError(UnderdashError):
    """A value that its field cannot spell."""


def encode(
    listener: BroadcastListener,
    values: Mapping[str, Value],
    counter: int,
    *,
    size: int | None = None,
    units: Mapping[str, str] | None = None,
) -> bytes:
    """Spell a broadcast frame.

    Args:
        listener: the declaration.
        values: by signal, as in `encode_fields`.
        counter: what the frame's counter shows, cut to its length; ignored where it has none.
        size: bytes of the frame; None means as many as a decoder wants at least.
        units: as in `encode_fields`.

    Raises:
        EncodeError: as `encode_fields` does.
        LayoutError: the listener cannot be read either.
    """
    length = shortest_frame(listener) if size is None else size
    data = bytearray(encode_fields(listener.fields, values, length, units=units))
    if listener.counter is not None:
        bits = listener.counter.bits
        _write(data, bits, counter & place_of(bits).mask)
    if listener.checksum is not None:
        if listener.checksum.byte >= length:
            raise EncodeError(
                f"{id_text(key_of(listener.id, listener.extended))}: no room for the checksum in {length} bytes"
            )
        checksum_writer(listener.checksum)(data)
    return bytes(data)


def encode_fields(
    fields: Iterable[Field], values: Mapping[str, Value], size: int, *, units: Mapping[str, str] | None = None
) -> bytes:
    """Spell the fields whose signals have a value; multiplexers and presence bits are set as those need.

    A number beyond what its field can spell becomes the nearest it can, as a sensor saturates. A field without a
    value says "not available" where it has a way to, unless it is multiplexed or has a presence bit.

    Args:
        fields: of one payload.
        values: by signal: in the field's unit, or in the signal's stored unit where `units` names it.
        size: bytes of the payload.
        units: stored unit by signal.

    Raises:
        EncodeError: a value is not in its table or of the wrong kind, the payload is too short, or two fields with a
            value exclude each other.
    """
    data = bytearray(size)
    chosen: dict[Bits, int] = {}
    for field in fields:
        value = values.get(field.signal)
        if value is None and (not field.unavailable or field.select is not None or field.present_if is not None):
            continue
        if field_length(field) > size:
            if value is None:
                continue
            raise EncodeError(f"{field.signal} needs {field_length(field)} bytes; the payload has {size}")
        if field.select is not None and not _choose(field.select, chosen):
            continue
        if field.present_if is not None:
            _write(data, field.present_if, place_of(field.present_if).mask)
        _spell(data, field, value, values, units or {})
    for bits, number in chosen.items():
        _write(data, bits, number)
    return bytes(data)


def _choose(select: Select, chosen: dict[Bits, int]) -> bool:
    """Set the multiplexers so that a field is there; False where one already reads something else."""
    level: Select | None = select
    needed: dict[Bits, int] = {}
    while level is not None:
        present = chosen.get(level.bits, level.values[0])
        if present not in level.values:
            return False
        needed[level.bits] = present
        level = level.within
    chosen.update(needed)
    return True


def _spell(
    data: bytearray, field: Field, value: Value | None, values: Mapping[str, Value], units: Mapping[str, str]
) -> None:
    if value is None:
        _write(data, field.bits, field.unavailable[0][0] & place_of(field.bits).mask)
    elif isinstance(value, str) and not field.values:
        _write_text(data, field, value)
    elif field.values:
        _write(data, field.bits, _looked_up(field, value) & place_of(field.bits).mask)
    else:
        factor, offset = to_stored(field, units[field.signal]) if field.signal in units else (1.0, 0.0)
        _write_number(data, field, _raw(field, (float(value) - offset) / factor, values))


# --- numbers ----------------------------------------------------------------------------------------------------


def _raw(field: Field, value: float, values: Mapping[str, Value]) -> float:
    if field.points:
        return _backwards(field, value)
    scale = field.scale
    full = values.get(field.full_scale_from or "")
    if full and isinstance(full, (int, float)):
        scale = (float(full) - field.offset) / largest_raw(field)
    return (value - field.offset) / scale


def _backwards(field: Field, value: float) -> float:
    """Read a table of points from value to raw; its values must rise, or fall, throughout."""
    points = sorted(field.points, key=lambda point: point[1])
    if [p[0] for p in points] not in (sorted(p[0] for p in points), sorted((p[0] for p in points), reverse=True)):
        raise EncodeError(f"{field.signal}: its points rise and fall, so a value has no one raw number")
    if value <= points[0][1]:
        return points[0][0]
    for (raw_a, a), (raw_b, b) in pairwise(points):
        if value <= b:
            return raw_a + (raw_b - raw_a) * (value - a) / (b - a)
    return points[-1][0]


def _write_number(data: bytearray, field: Field, raw: float) -> None:
    length, mask = field.bits.length, place_of(field.bits).mask
    if field.coding is Coding.FLOAT:
        code = FLOAT_CODES.get(length)
        if code is None:
            raise LayoutError(f"a float of {length} bits: it has 16, 32 or 64")
        _write(data, field.bits, int.from_bytes(struct.pack(">" + code, raw), "big"))
        return
    most = largest_raw(field)
    least = -most - 1 if field.coding is Coding.SIGNED else 0
    whole = _available(field, min(max(round(raw), least), most))
    _write(data, field.bits, int(str(whole), 16) if field.coding is Coding.BCD else whole & mask)


def _available(field: Field, raw: int) -> int:
    """The nearest raw number that does not mean "not available"."""
    for first, last in sorted(field.unavailable, reverse=True):
        if first <= raw <= last:
            raw = first - 1 if first > 0 else last + 1
    return raw


def _looked_up(field: Field, value: Value) -> int:
    for raw, meaning in field.values:
        if meaning == value and isinstance(meaning, bool) == isinstance(value, bool):
            return raw
    allowed = ", ".join(repr(meaning) for _, meaning in field.values)
    raise EncodeError(f"{field.signal}: {value!r} is not in its table; allowed: {allowed}")


def _write_text(data: bytearray, field: Field, value: str) -> None:
    at = place_of(field.bits)
    if field.coding is Coding.BCD:
        if not value.isdecimal() or len(value) > at.length // 4:
            raise EncodeError(f"{field.signal}: {value!r} is not {at.length // 4} decimal digits")
        _write(data, field.bits, int(value, 16))
        return
    if field.coding is not Coding.TEXT:
        raise EncodeError(f"{field.signal} is a number; found the text {value!r}")
    room = at.last + 1 - at.first
    spelt = value.encode("ascii", "replace")
    if len(spelt) > room:
        raise EncodeError(f"{field.signal}: {value!r} has {len(spelt)} characters; there is room for {room}")
    data[at.first : at.last + 1] = spelt.ljust(room, b"\0")


def _write(data: bytearray, bits: Bits, raw: int) -> None:
    """Put a raw number into its place and leave all other bits as they are."""
    at = place_of(bits)
    if bytes_needed(bits) > len(data):
        raise EncodeError(f"bits to byte {at.last} do not fit a payload of {len(data)} bytes")
    touched = slice(at.first, at.last + 1)
    before = int.from_bytes(data[touched], at.order)
    after = before & ~(at.mask << at.shift) | raw << at.shift
    data[touched] = after.to_bytes(at.last + 1 - at.first, at.order)
