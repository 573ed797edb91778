"""The way back from the contract's types to the tables of a description: what `car_parts` reads is written here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..broadcast.bits import place_of
from ..bus.frames import id_text, key_of
from ..contract.layout import Bits, BroadcastListener, Checksum, Coding, Field, Select
from ..contract.signals import Kind, Signal, Value

Table = dict[str, Any]
Said = Mapping[str, str]
"""Who found a line and how it was checked: `found_by`, `checked_by`, `trace`, `note`."""


def listener_table(listener: BroadcastListener, counts_from: int = 0, said: Said | None = None) -> Table:
    """Return the table of a ``[[broadcast]]``.

    Args:
        listener: what is to be written; its note becomes the table's.
        counts_from: 0 or 1, how the file counts bytes.
        said: who found it; keys without text are left out.
    """
    table: Table = {"bus": listener.bus, **_id(listener.id, listener.extended)}
    if listener.period_s is not None:
        table["period_s"] = listener.period_s
    if listener.on_change:
        table["on_change"] = True
    if listener.shortest is not None:
        table["shortest"] = listener.shortest
    if listener.counter is not None:
        table["counter"] = bits_table(listener.counter.bits, counts_from)
    if listener.checksum is not None:
        table["checksum"] = checksum_table(listener.checksum, counts_from)
    table["fields"] = [field_table(field, counts_from) for field in listener.fields]
    return table | {key: text for key, text in ({"note": listener.note} | dict(said or {})).items() if text}


def field_table(field: Field, counts_from: int = 0, said: Said | None = None) -> Table:
    """Return the table of one field; see `listener_table`."""
    table: Table = {"signal": field.signal, **bits_table(field.bits, counts_from, field.coding)}
    if field.coding is not Coding.UNSIGNED:
        table["coding"] = str(field.coding)
    if field.points:
        table["points"] = [[_number(raw), _number(value)] for raw, value in field.points]
    elif field.values:
        table["values"] = {str(raw): _value(value) for raw, value in field.values}
    else:
        table |= {"scale": _number(field.scale)} if field.scale != 1.0 else {}
        table |= {"offset": _number(field.offset)} if field.offset else {}
    if field.unit is not None:
        table["unit"] = field.unit
    if field.unavailable:
        table["unavailable"] = [low if low == high else [low, high] for low, high in field.unavailable]
    if field.saturates_at is not None:
        table["saturates_at"] = field.saturates_at
    if field.present_if is not None:
        table["present_if"] = bits_table(field.present_if, counts_from)
    if field.full_scale_from is not None:
        table["full_scale_from"] = field.full_scale_from
    if field.select is not None:
        table["select"] = _select(field.select, counts_from)
    return table | {key: text for key, text in (said or {}).items() if text}


def bits_table(bits: Bits, counts_from: int = 0, coding: Coding = Coding.UNSIGNED) -> Table:
    """Return where bits are, in the shortest way to say it."""
    place = place_of(bits)
    if place.first == place.last and coding is not Coding.TEXT:
        table: Table = {"byte": place.first + counts_from}
        if place.length == 8:
            return table
        if place.length == 1:
            return table | {"bit": place.shift}
        return table | {"bits": [place.shift, place.shift + place.length - 1]}
    bit = {} if bits.bit is None else {"bit": bits.bit}
    return {"byte": bits.byte + counts_from, **bit, "length": bits.length, "order": str(bits.order)}


def signal_table(signal: Signal) -> Table:
    """Return the table of a ``[[signal]]``."""
    table: Table = {"name": signal.name, "meaning": signal.meaning}
    if signal.kind is not Kind.NUMBER:
        table["kind"] = str(signal.kind)
    table |= {"unit": signal.unit} if signal.unit else {}
    table |= {"low": _number(signal.low)} if signal.low is not None else {}
    table |= {"high": _number(signal.high)} if signal.high is not None else {}
    return table | ({"choices": [*signal.choices]} if signal.choices else {})


def _id(can_id: int, extended: bool) -> Table:
    return {"id": id_text(key_of(can_id, extended))}


def checksum_table(checksum: Checksum, counts_from: int = 0) -> Table:
    """Return the table of a checksum."""
    table: Table = {"kind": checksum.kind, "byte": checksum.byte + counts_from}
    if checksum.kind == "crc8":
        table |= {"polynomial": f"{checksum.polynomial:02X}", "initial": f"{checksum.initial:02X}"}
    if checksum.final is not None:
        table["final"] = f"{checksum.final:02X}"
    table |= {"first": checksum.first + counts_from} if checksum.first else {}
    table |= {"bits": [checksum.bit, checksum.bit + 3]} if checksum.bits.length == 4 else {}
    table |= {name: True for name in ("reflected", "negative") if getattr(checksum, name)}
    return table | ({"last": checksum.last + counts_from} if checksum.last is not None else {})


def _select(select: Select, counts_from: int) -> Table:
    table = bits_table(select.bits, counts_from) | {"values": [*select.values]}
    return table | ({"within": _select(select.within, counts_from)} if select.within is not None else {})


def _number(value: float) -> float | int:
    """Write 2.0 as 2, as a person does."""
    return int(value) if value == int(value) and abs(value) < 1e15 else value


def _value(value: Value) -> Value | int:
    return _number(value) if isinstance(value, float) else value
