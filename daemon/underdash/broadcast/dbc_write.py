"""What a description hears on one bus as a DBC file, for programs of the trade; what DBC cannot say is told.

The file is written by `cantools`, which comes with the extra `dbc`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from ..bus.frames import id_text, key_of
from ..contract.errors import UnderdashError
from ..contract.layout import Bits, BroadcastListener, Coding, Field, Select
from ..contract.signals import Signal, Value
from .bits import bytes_needed, place_of
from .checks import checksum_length, counter_length
from .dbc_names import JOINS, NOT_AVAILABLE, RELEASED
from .diagram import bits_of

LONGEST_NAME = 32
"""Characters that programs of the trade take in a name (from memory)."""
MOST_LABELS = 16
"""So many raw numbers that mean "not available" get a label each; more would hide what else a file says."""
ORDERS: Mapping[str, Any] = {"little": "little_endian", "big": "big_endian"}


def write_dbc(listeners: Iterable[BroadcastListener], signals: Mapping[str, Signal]) -> tuple[str, list[str]]:
    """Return DBC text, and sentences about what it cannot hold.

    Args:
        listeners: to the frames of one bus.
        signals: declarations of the signals they feed, for units and meanings.

    Raises:
        UnderdashError: cantools is not installed.
    """
    try:
        from cantools.database import Database
        from cantools.database.can import Message
    except ImportError as exc:
        raise UnderdashError("writing DBC needs cantools; install underdash with its extra `dbc`") from exc
    problems: list[str] = []
    frames: dict[tuple[int, bool], list[BroadcastListener]] = {}
    for one in listeners:
        frames.setdefault((one.id, one.extended), []).append(one)
    messages = []
    for (can_id, extended), entries in sorted(frames.items()):
        written = _written(entries, signals, problems)
        period = next((entry.period_s for entry in entries if entry.period_s is not None), None)
        if not written:
            continue
        length = max(map(_least, entries))
        messages.append(
            Message(
                can_id,
                f"F_{id_text(key_of(can_id, extended))}",
                length,
                written,
                is_extended_frame=extended,
                cycle_time=None if period is None else round(period * 1000),
                strict=False,
            )
        )
        lost = [entry for entry in entries if entry.counter is not None or entry.checksum is not None]
        if lost:
            problems.append(f"{id_text(key_of(can_id, extended))}: its counter or checksum is left out")
    text: str = Database(messages=messages, version="").as_dbc_string()
    return text, problems


def _written(entries: Sequence[BroadcastListener], signals: Mapping[str, Signal], problems: list[str]) -> list[Any]:
    """Return the signals of one frame as cantools has them; what has no place there is told."""
    names, written = _Names(), list[Any]()
    fields = _together([field for entry in entries for field in entry.fields])
    possible = []
    for field in fields:
        why = _impossible(field)
        if why:
            problems.append(f"{field.signal} is left out: {why}")
        else:
            possible.append(field)
    kept = _beside_each_other(possible, problems)
    switches = {place_of(field.select.bits) for field in kept if field.select is not None}
    # a multiplexer that is a signal too has to be there before what it selects
    kept.sort(key=lambda field: field.select is not None)
    for field in kept:
        switch = field.select is None and place_of(field.bits) in switches
        written += _signals(field, signals.get(field.signal), names, problems, written, switch=switch)
    return written


def _beside_each_other(fields: Sequence[Field], problems: list[str]) -> list[Field]:
    """Return fields that share no bits; those go that share them with most others, which are told."""
    shares = {
        at: [n for n, other in enumerate(fields) if n != at and _clash(fields[at], other)] for at in range(len(fields))
    }
    kept: dict[int, Field] = {}
    for at in sorted(shares, key=lambda at: len(shares[at])):
        other = next((n for n in shares[at] if n in kept), None)
        if other is None:
            kept[at] = fields[at]
        else:
            problems.append(f"{fields[at].signal} is left out: DBC has no bits for it and {fields[other].signal} both")
    return [kept[at] for at in sorted(kept)]


def _least(entry: BroadcastListener) -> int:
    lengths = [entry.shortest or 0, *(bytes_needed(field.bits) for field in entry.fields)]
    lengths += [counter_length(entry.counter)] if entry.counter is not None else []
    return max(*lengths, checksum_length(entry.checksum) if entry.checksum is not None else 0)


def _together(fields: Sequence[Field]) -> list[Field]:
    """Make one field of switches that have all their bits in common, as buttons do; their names become its values."""
    found: dict[Any, list[Field]] = {}
    for at, field in enumerate(fields):
        switch = field.values and all(isinstance(value, bool) for _, value in field.values)
        found.setdefault((bits_of(field.bits), field.select) if switch else at, []).append(field)
    return [one for some in found.values() for one in _joined(some)]


def _joined(fields: list[Field]) -> list[Field]:
    words = [(raw, _last(field.signal)) for field in fields for raw, on in field.values if on]
    rest = {raw for field in fields for raw, on in field.values if not on}
    raws = [raw for raw, _ in words]
    if len(fields) == 1 or len(set(raws)) < len(raws) or rest & set(raws):
        return fields
    values: list[tuple[int, Value]] = [*words, *((raw, RELEASED) for raw in rest)]
    return [replace(fields[0], signal=JOINS.join(field.signal for field in fields), values=tuple(sorted(values)))]


def _clash(one: Field, other: Field) -> bool:
    """Whether two fields are there at once and share bits, or one has only some of those of the other's multiplexer."""
    if bits_of(one.bits) & bits_of(other.bits) and not _apart(one.select, other.select):
        return True
    return _hides(one, other.select) or _hides(other, one.select)


def _hides(field: Field, select: Select | None) -> bool:
    """Whether a field lies on a multiplexer and is not the same; nor can two multiplexers share bits."""
    if select is None:
        return False
    bits, switch = bits_of(field.bits), bits_of(select.bits)
    own = set() if field.select is None else bits_of(field.select.bits)
    whole = field.select is None and place_of(field.bits) == place_of(select.bits)
    whole = whole and field.coding is Coding.UNSIGNED
    return bool(bits & switch and not whole) or bool(own & switch and own != switch)


def _apart(one: Select | None, other: Select | None) -> bool:
    """Whether a multiplexer never selects both."""
    return one is not None and other is not None and one.bits == other.bits and not set(one.values) & set(other.values)


def _last(signal: str) -> str:
    return signal.rpartition(".")[2]


def _whole_parts(signal: str) -> str:
    """Return a name without the parts in front for which there is no room: what it is says more than where."""
    while len(signal) > LONGEST_NAME and "." in signal:
        signal = signal.partition(".")[2]
    return signal


class _Names:
    """Names of one message: what a DBC file can hold, each once."""

    def __init__(self) -> None:
        self._taken: set[str] = set()

    def of(self, signal: str) -> str:
        parts = signal.split(JOINS)
        text = _whole_parts(signal) if len(parts) == 1 else "_".join(map(_last, parts))
        plain = re.sub(r"\W", "_", text)[-LONGEST_NAME:].lstrip("_0123456789") or "unnamed"
        name, count = plain, 1
        while name in self._taken:
            count += 1
            name = f"{plain[: LONGEST_NAME - 3]}_{count}"
        self._taken.add(name)
        return name


def _signals(
    field: Field, declared: Signal | None, names: _Names, problems: list[str], written: list[Any], *, switch: bool
) -> list[Any]:
    """Return a field as cantools has it, with its multiplexer if that is not there yet."""
    from cantools.database.can import Signal as DbcSignal
    from cantools.database.conversion import BaseConversion

    for what in _lost(field):
        problems.append(f"{field.signal}: {what} is left out")
    made: list[Any] = []
    multiplexer = None
    if field.select is not None:
        place = place_of(field.select.bits)
        known = next((one for one in written if one.is_multiplexer and one.start == _start(field.select.bits)), None)
        if known is None:
            known = DbcSignal(
                names.of("multiplexer"),
                _start(field.select.bits),
                place.length,
                byte_order=ORDERS[place.order],
                is_multiplexer=True,
            )
            made.append(known)
        multiplexer = known.name
    scale, offset = _line(field)
    choices: Any = (
        {raw: _word(value) for raw, value in field.values} or dict.fromkeys(_gone(field), NOT_AVAILABLE) or None
    )
    conversion = BaseConversion.factory(
        scale=scale, offset=offset, choices=choices, is_float=field.coding is Coding.FLOAT
    )
    unit = field.unit or (declared.unit if declared else "")
    made.append(
        DbcSignal(
            names.of(field.signal),
            _start(field.bits),
            field.bits.length,
            byte_order=ORDERS[place_of(field.bits).order],
            is_signed=field.coding is Coding.SIGNED,
            conversion=conversion,
            unit=unit or None,
            comment=f"{field.signal}: {declared.meaning}" if declared else field.signal,
            is_multiplexer=switch,
            multiplexer_ids=None if field.select is None else list(field.select.values),
            multiplexer_signal=multiplexer,
        )
    )
    return made


def _gone(field: Field) -> list[int]:
    """Return the raw numbers of a number that mean "not available", where a label can say it of each."""
    count = sum(last - first + 1 for first, last in field.unavailable)
    if field.values or field.coding is Coding.FLOAT or count > MOST_LABELS:
        return []
    return [raw for first, last in field.unavailable for raw in range(first, last + 1)]


def _start(bits: Bits) -> int:
    bit = bits.bit if bits.bit is not None else (0 if bits.order == "little" else 7)
    return 8 * bits.byte + bit


def _word(value: Value) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _impossible(field: Field) -> str:
    if field.coding in (Coding.BCD, Coding.TEXT):
        return f"DBC has no {field.coding}"
    if len(field.points) > 2:
        return "DBC has no curve of points"
    if field.select is not None and field.select.within is not None:
        return "a multiplexer within another is not written"
    if field.select is not None and bits_of(field.bits) & bits_of(field.select.bits):
        return "it lies on its own multiplexer"
    return ""


def _line(field: Field) -> tuple[float, float]:
    """Return scale and offset; of two points, those of the line through them."""
    if len(field.points) != 2:
        return field.scale, field.offset
    (first, low), (last, high) = field.points
    scale = (high - low) / (last - first)
    return scale, low - scale * first


def _lost(field: Field) -> list[str]:
    found = ["that it stays at its ends"] if field.points else []
    if field.unavailable and not _gone(field):
        found.append("which raw numbers mean not available")
    if field.saturates_at is not None:
        found.append("where it saturates")
    if field.present_if is not None:
        found.append("the bit that says whether it is there")
    if field.full_scale_from is not None:
        found.append("the field its full scale comes from")
    return found
