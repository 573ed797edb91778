"""What a description hears on one bus as a DBC file, for programs of the trade; what DBC cannot say is told.

The file is written by `cantools`, which comes with the extra `dbc`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from ..bus.frames import id_text, key_of
from ..contract.errors import UnderdashError
from ..contract.layout import Bits, BroadcastListener, Coding, Field
from ..contract.signals import Signal, Value
from .bits import bytes_needed, place_of

LONGEST_NAME = 32
"""Characters that programs of the trade take in a name (from memory)."""
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
        names = _Names()
        written: list[Any] = []
        for field in (field for entry in entries for field in entry.fields):
            written += _signals(field, signals.get(field.signal), names, problems, written)
        period = next((entry.period_s for entry in entries if entry.period_s is not None), None)
        if not written:
            continue
        length = max(*(bytes_needed(field.bits) for entry in entries for field in entry.fields), *_least(entries))
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


def _least(entries: Iterable[BroadcastListener]) -> list[int]:
    return [entry.shortest or 0 for entry in entries]


class _Names:
    """Names of one message: what a DBC file can hold, each once."""

    def __init__(self) -> None:
        self._taken: set[str] = set()

    def of(self, signal: str) -> str:
        plain = re.sub(r"\W", "_", signal)[-LONGEST_NAME:].lstrip("_0123456789") or "unnamed"
        name, count = plain, 1
        while name in self._taken:
            count += 1
            name = f"{plain[: LONGEST_NAME - 3]}_{count}"
        self._taken.add(name)
        return name


def _signals(
    field: Field, declared: Signal | None, names: _Names, problems: list[str], written: list[Any]
) -> list[Any]:
    """Return a field as cantools has it, with its multiplexer if that is not there yet."""
    from cantools.database.can import Signal as DbcSignal
    from cantools.database.conversion import BaseConversion

    why = _impossible(field)
    if why:
        problems.append(f"{field.signal} is left out: {why}")
        return []
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
    choices: Any = {raw: _word(value) for raw, value in field.values} or None
    conversion = BaseConversion.factory(
        scale=field.scale, offset=field.offset, choices=choices, is_float=field.coding is Coding.FLOAT
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
            multiplexer_ids=None if field.select is None else list(field.select.values),
            multiplexer_signal=multiplexer,
        )
    )
    return made


def _start(bits: Bits) -> int:
    bit = bits.bit if bits.bit is not None else (0 if bits.order == "little" else 7)
    return 8 * bits.byte + bit


def _word(value: Value) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _impossible(field: Field) -> str:
    if field.coding in (Coding.BCD, Coding.TEXT):
        return f"DBC has no {field.coding}"
    if field.points:
        return "DBC has no curve of points"
    if field.select is not None and field.select.within is not None:
        return "a multiplexer within another is not written"
    return ""


def _lost(field: Field) -> list[str]:
    found = []
    if field.unavailable:
        found.append("which raw numbers mean not available")
    if field.saturates_at is not None:
        found.append("where it saturates")
    if field.present_if is not None:
        found.append("the bit that says whether it is there")
    if field.full_scale_from is not None:
        found.append("the field its full scale comes from")
    return found
