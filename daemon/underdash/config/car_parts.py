"""Buses, request formats, broadcasts and polls of a car description: tables in, contract types out."""

from __future__ import annotations

import re
from collections.abc import Iterable

from ..contract.cars import BusDescription, Exchange, ExpectedFrame, IgnitionEvidence
from ..contract.layout import BroadcastListener, Field
from ..contract.requests import Part, PartKind, PollRequest, SingleFrameFormat
from ..contract.signals import Kind, Signal
from ..contract.units import UNITS
from ..diagnostics.obd import SIZES
from .car_layout import Context, checksum_of, clash, counter_of, field_of, hex_byte, hex_number, signal_of
from .car_tables import (
    BroadcastTable,
    BusTable,
    ExchangeTable,
    FingerprintTable,
    FormatTable,
    FrameTable,
    IgnitionTable,
    PollTable,
    SignalTable,
)
from .mistakes import MISSING, KeyPath, Words

ID = 'an id in hex digits and quotes: up to three for 11 bits ("7E8"), eight for 29 bits ("18DAF110")'
HIGHEST_11_BITS = 0x7FF
HIGHEST_29_BITS = 0x1FFF_FFFF
FRAME_BYTES = 8
ANSWER_BYTES = 4094
"""Longest ISO 15765-2 message of 12-bit length, less the service; the echoed identifier goes off it too."""

WORDS = '"count from XX", "address", "command", "identifier", "identifier 2", "mode XX", "fixed XX"'
_WORD_SIZES = {"1": 1, "2": 2, "3": 3, "4": 4}
_NAMED = (PartKind.IDENTIFIER,)
_ECHOED = tuple(kind for kind in PartKind if kind is not PartKind.DATA)
OWN = "car"
"""First word of the signals that a description declares itself."""
OWN_NAME = re.compile(rf"{OWN}(\.[a-z0-9_]+)+")
STANDARD = "service_01"
IDENTIFIER_DIGITS = {STANDARD: 2, "identifier_22": 4, "service_09": 2, "identifier_21": 2, "identifier_1A": 2}
WITH_STANDARD_FIELDS = (STANDARD, "service_09")


def id_of(text: str, extended: bool | None, path: KeyPath, context: Context) -> tuple[int, bool] | None:
    """Read a CAN id; eight digits mean 29 bits unless `extended` says otherwise."""
    number = hex_number(text, path, context.mistakes, digits=8, what=ID)
    if number is None:
        return None
    digits = len(text.removeprefix("0x").removeprefix("0X"))
    if extended is None and digits not in (1, 2, 3, 8):
        context.mistakes.add(path, text, ID + "; or say extended = true or false")
        return None
    is_29 = digits == 8 if extended is None else extended
    highest = HIGHEST_29_BITS if is_29 else HIGHEST_11_BITS
    if number > highest:
        context.mistakes.add(path, text, f"an id up to {highest:X} ({29 if is_29 else 11} bits)")
        return None
    return number, is_29


def bus_of(role: str, raw: object, path: KeyPath, context: Context) -> BusDescription | None:
    """Make a bus of ``[bus.<role>]``."""
    table = context.structure.make(BusTable, raw, path)
    return None if table is None else BusDescription(role, table.bitrate, table.silent, table.meaning)


def own_signal_of(raw: object, path: KeyPath, context: Context) -> Signal | None:
    """Make a signal of a ``[[signal]]``, which a description may feed where the catalogue has none for it."""
    table = context.structure.make(SignalTable, raw, path)
    if table is None:
        return None
    add, before = context.mistakes.add, len(context.mistakes.found)
    if not OWN_NAME.fullmatch(table.name):
        add(
            (*path, "name"), table.name, f'small words with dots between them, the first one "{OWN}": "{OWN}.fan_stage"'
        )
    if table.unit not in UNITS:
        add((*path, "unit"), table.unit, "units " + ", ".join(one for one in UNITS if one), UNITS)
    kind = Kind(table.kind)
    if (kind is Kind.CHOICE) != bool(table.choices):
        add((*path, "choices"), [*table.choices], "the words it can be, of a choice and of nothing else")
    if table.low is not None and table.high is not None and table.low >= table.high:
        add((*path, "high"), table.high, f"a number above `low`, which is {table.low:g}")
    if len(context.mistakes.found) > before:
        return None
    return Signal(table.name, table.unit, table.meaning, kind, table.low, table.high, table.choices)


def format_of(name: str, raw: object, path: KeyPath, context: Context) -> SingleFrameFormat | None:
    """Make a single-frame format of ``[request_format.<name>]``."""
    table = context.structure.make(FormatTable, raw, path)
    if table is None:
        return None
    command = hex_byte(table.command, (*path, "command"), context.mistakes)
    adds = hex_byte(table.reply_adds, (*path, "reply_adds"), context.mistakes)
    request = _parts(table.request, (*path, "request"), context)
    reply = _parts(table.reply, (*path, "reply"), context)
    if name in IDENTIFIER_DIGITS:
        context.mistakes.add(path, name, "a name of its own; this one is a standard protocol")
    if command is None or adds is None or request is None or reply is None:
        return None
    _check_shape(request, reply, path, context)
    return SingleFrameFormat(name, command, request, reply, adds)


def _parts(words: tuple[str, ...], path: KeyPath, context: Context) -> tuple[Part, ...] | None:
    parts = [_part(word, (*path, index), context) for index, word in enumerate(words)]
    made = tuple(part for part in parts if part is not None)
    return made if len(made) == len(parts) else None


def _part(text: str, path: KeyPath, context: Context) -> Part | None:
    match text.split():
        case [("count" | "mode" | "fixed") as word, *rest, digits] if rest == (["from"] if word == "count" else []):
            value = hex_byte(digits, path, context.mistakes)
            return None if value is None else Part(PartKind(word), 1, value)
        case ["identifier", size] if size in _WORD_SIZES:
            return Part(PartKind.IDENTIFIER, _WORD_SIZES[size])
        case [("address" | "command" | "identifier" | "data") as word]:
            return Part(PartKind(word))
    near = ("count from 00", "address", "command", "identifier", "identifier 2", "mode 01", "fixed 00", "data")
    context.mistakes.add(path, text, f'{WORDS}, and in a reply "data" at the end', near)
    return None


def _check_shape(request: tuple[Part, ...], reply: tuple[Part, ...], path: KeyPath, context: Context) -> None:
    add = context.mistakes.add
    for key, parts in (("request", request), ("reply", reply)):
        kinds = [part.kind for part in parts]
        for kind in (PartKind.COMMAND, PartKind.IDENTIFIER):
            if kinds.count(kind) != 1:
                add((*path, key), Words(f'"{kind}" {kinds.count(kind)} times'), f'"{kind}" once')
        for kind in (PartKind.COUNT, PartKind.ADDRESS):
            if kinds.count(kind) > 1:
                add((*path, key), Words(f'"{kind}" {kinds.count(kind)} times'), f'"{kind}" at most once')
        data = kinds.count(PartKind.DATA)
        fits = kinds[-1:] == [PartKind.DATA] and data == 1 if key == "reply" else data == 0
        if not fits:
            add((*path, key), Words(f'"data" {data} times'), 'in a reply "data" once and last, in a request never')
        size = sum(part.size for part in parts)
        if size > FRAME_BYTES:
            add((*path, key), Words(f"{size} bytes"), "at most 8 bytes")


def listener_of(raw: object, path: KeyPath, context: Context) -> BroadcastListener | None:
    """Make a listener of a ``[[broadcast]]``."""
    table = context.structure.make(BroadcastTable, raw, path)
    if table is None:
        return None
    known_bus(table.bus, (*path, "bus"), context)
    can_id = id_of(table.id, table.extended, (*path, "id"), context)
    fields = fields_of(table.fields, path, context, FRAME_BYTES)
    if not table.fields:
        context.mistakes.add((*path, "fields"), Words("an empty list"), "at least one field")
    counter = None if table.counter is None else counter_of(table.counter, (*path, "counter"), context)
    checksum = None if table.checksum is None else checksum_of(table.checksum, (*path, "checksum"), context)
    if can_id is None:
        return None
    return BroadcastListener(
        table.bus,
        can_id[0],
        fields,
        can_id[1],
        table.period_s,
        table.on_change,
        table.shortest,
        counter,
        checksum,
        note_of(table.text, table.fields),
    )


def poll_of(raw: object, path: KeyPath, context: Context) -> PollRequest | None:
    """Make a request of a ``[[poll]]``; one of service 01 or 09 without fields means the standard's own."""
    table = context.structure.make(PollTable, raw, path)
    if table is None:
        return None
    known_unit(table.unit, (*path, "unit"), context)
    known = {*context.formats, *context.protocols, *IDENTIFIER_DIGITS}
    if table.protocol not in known | context.broken:
        allowed = f"one of {', '.join(sorted(known))}, or a protocol of an enabled plug-in"
        context.mistakes.add((*path, "protocol"), table.protocol, allowed, known)
    layout = context.formats.get(table.protocol)
    digits = IDENTIFIER_DIGITS.get(table.protocol, 8) if layout is None else 2 * _size(layout.request, _NAMED)
    room = ANSWER_BYTES - digits // 2 if layout is None else FRAME_BYTES - _size(layout.reply, _ECHOED)
    unit = context.units.get(table.unit)
    if unit and layout and unit.address is None and _size(layout.request, (PartKind.ADDRESS,)):
        found = Words(f"{table.unit}, which has no address byte")
        context.mistakes.add((*path, "unit"), found, f'a unit with an `address`, which "{layout.name}" sends')
    what = f'up to {digits} hex digits in quotes, such as "{"0C" if digits == 2 else "1A04"}"'
    identifier = hex_number(table.identifier, (*path, "identifier"), context.mistakes, digits=digits, what=what)
    if not table.fields and table.protocol not in WITH_STANDARD_FIELDS:
        have = " and ".join(f'"{name}"' for name in WITH_STANDARD_FIELDS)
        context.mistakes.add((*path, "fields"), MISSING, f"at least one field; only {have} have standard ones")
    if table.protocol in context.protocols:
        room = FRAME_BYTES
    elif table.protocol == STANDARD and identifier is not None:
        room = SIZES.get(identifier, room)
    fields = fields_of(table.fields, path, context, room)
    if identifier is None:
        return None
    note = note_of(table.text, table.fields)
    return PollRequest(table.unit, table.protocol, identifier, fields, table.period_s, table.once, note)


def fields_of(raws: tuple[object, ...], path: KeyPath, context: Context, frame_bytes: int) -> tuple[Field, ...]:
    """Make the fields of a frame or an answer; two that feed one signal need conditions that set them apart."""
    made: list[tuple[KeyPath, Field]] = []
    broken: dict[str, KeyPath] = {}
    for index, raw in enumerate(raws):
        where = (*path, "fields", index)
        entry = field_of(raw, where, context, frame_bytes)
        signal = raw.get("signal") if isinstance(raw, dict) and "select" not in raw else None
        if isinstance(signal, str) and signal in broken:
            # its first field is not made yet, but will be once its own mistakes are put right
            allowed = f"each signal once in a frame; the first is {context.mistakes.source.place(broken[signal])}"
            context.mistakes.add((*where, "signal"), Words(f"{signal} a second time"), allowed)
        if entry is None:
            broken |= {signal: where} if isinstance(signal, str) else {}
            continue
        first = next((place for place, before in made if clash(before, entry)), None)
        if first is not None:
            allowed = "each signal once in a frame, or with `select` values that differ; the first is "
            place = context.mistakes.source.place(first)
            context.mistakes.add((*where, "signal"), Words(f"{entry.signal} a second time"), allowed + place)
        made.append((where, entry))
    return tuple(entry for _, entry in made)


def note_of(text: str, raws: tuple[object, ...]) -> str:
    """Gather what a frame and its fields say about who found them."""
    said = [text] if text else []
    for raw in raws:
        if isinstance(raw, dict):
            words = (("found by ", "found_by"), ("checked by ", "checked_by"), ("trace ", "trace"), ("", "note"))
            parts = [word + str(raw[key]) for word, key in words if raw.get(key)]
            if parts:
                said.append(f"{raw.get('signal', '')}: {', '.join(parts)}")
    return "; ".join(said)


def ignition_of(raw: object, path: KeyPath, context: Context) -> IgnitionEvidence | None:
    """Make a piece of evidence of an ``[[ignition]]``."""
    table = context.structure.make(IgnitionTable, raw, path)
    if table is None:
        return None
    known = signal_of(table.signal, (*path, "signal"), context)
    groups = {name: _words(getattr(table, name)) for name in ("on", "off", "start")}
    if not groups["on"] and table.above is None:
        context.mistakes.add((*path, "on"), MISSING, "the values that mean ON, or for a number `above`")
    for name, words in groups.items():
        for index, word in enumerate(words):
            if known and known.choices and word not in known.choices:
                context.mistakes.add((*path, name, index), word, ", ".join(known.choices), known.choices)
            if sum(word in other for other in groups.values()) > 1:
                context.mistakes.add((*path, name, index), word, "each value in one of on, off and start")
    alive = None
    if table.alive_with is not None:
        alive = _frame(table.alive_with, (*path, "alive_with"), context)
    alive_with = None if alive is None else (alive[0], alive[1])
    return IgnitionEvidence(
        table.signal, groups["on"], groups["off"], groups["start"], table.above, table.lifetime_s, alive_with
    )


def _words(values: tuple[str | bool, ...]) -> tuple[str, ...]:
    return tuple(str(v).lower() if isinstance(v, bool) else v for v in values)


def expected_of(raw: object, path: KeyPath, context: Context) -> ExpectedFrame | None:
    """Make an expected frame of a ``[[fingerprint]]``."""
    table = context.structure.make(FingerprintTable, raw, path)
    frame = None if table is None else _frame(table, path, context)
    if table is None or frame is None:
        return None
    return ExpectedFrame(frame[0], frame[1], frame[2], table.length, table.period_s)


def exchange_of(raw: object, path: KeyPath, context: Context) -> Exchange | None:
    """Make the evidence of an ``[[exchange]]``."""
    table = context.structure.make(ExchangeTable, raw, path)
    if table is None:
        return None
    add = context.mistakes.add
    formats = {*context.formats, *context.protocols}
    if table.request_format not in formats | context.broken:
        allowed = _listed("request formats", context.formats) + ", or a protocol of an enabled plug-in"
        add((*path, "request_format"), table.request_format, allowed, formats)
    known_unit(table.unit, (*path, "unit"), context)
    try:
        request = bytes.fromhex(table.request)
    except ValueError:
        request = b""
    layout = context.formats.get(table.request_format)
    least = 1 if layout is None else sum(part.size for part in layout.request)
    if not least <= len(request) <= FRAME_BYTES:
        needs = "one" if layout is None else f"{least}, which {layout.name} has, up"
        add((*path, "request"), table.request, f'{needs} to eight bytes in hex, such as "95 5C B4 1A 04 01"')
    if len(table.trace) != 64 or any(c not in "0123456789abcdef" for c in table.trace.lower()):
        add((*path, "trace"), table.trace, "the SHA-256 of the trace, 64 hex digits")
    return Exchange(table.request_format, table.unit, request, table.times, table.answers, table.trace.lower())


def known_bus(role: str, path: KeyPath, context: Context) -> None:
    """Check the name of a bus."""
    if role not in context.buses:
        context.mistakes.add(path, role, _listed("buses", context.buses), context.buses)


def known_unit(name: str, path: KeyPath, context: Context) -> None:
    """Check the name of a control unit."""
    if name not in context.units and name not in context.broken:
        context.mistakes.add(path, name, _listed("units", context.units), context.units)


def _size(parts: tuple[Part, ...], kinds: tuple[PartKind, ...]) -> int:
    return sum(part.size for part in parts if part.kind in kinds)


def _frame(table: FrameTable, path: KeyPath, context: Context) -> tuple[str, int, bool] | None:
    known_bus(table.bus, (*path, "bus"), context)
    can_id = id_of(table.id, table.extended, (*path, "id"), context)
    return None if can_id is None else (table.bus, *can_id)


def _listed(what: str, names: Iterable[str]) -> str:
    return f"{what} of this file: {', '.join(sorted(names)) or '(none)'}"
