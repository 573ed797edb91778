"""What the words of a DBC file mean: units, labels for "not available", and what our own export wrote into comments."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from ..contract.layout import Field
from ..contract.signals import Kind, Signal
from ..contract.units import UNITS
from ..signals.catalogue import CATALOGUE

JOINS = ", "
"""Between the names of signals that become one."""
NOT_AVAILABLE = "not available"
"""The label that is written for raw numbers that mean it."""
RELEASED = "released"

_GONE = re.compile(
    r"(signal |value |data )?(sna|na|n a|not available|unavailable|not valid|invalid|no data|no value)"
    r"( signal| value| data)?( \d+)?"
)
_WRONG = re.compile(r"((signal|value|data|sensor) )?(error|fault)( indicator)?( \d+)?")
"""Labels that say that there is no value, and those that do so of a quantity but may be a state by themselves (SAE
J1939-71 has "error indicator" and "not available"; the others are common practice). "none" and "off" are not among
them: they may be numbers."""

_UNIT_NAMES = {
    "kph": "km/h", "kmh": "km/h", "km/h": "km/h", "mph": "mph", "m/s": "m/s", "c": "degC", "°c": "degC", "degc": "degC",
    "deg c": "degC", "celsius": "degC", "f": "degF", "°f": "degF", "degf": "degF", "k": "K", "%": "%", "percent": "%",
    "rpm": "rpm", "1/min": "rpm", "v": "V", "mv": "mV", "a": "A", "deg": "deg", "°": "deg", "degree": "deg",
    "degrees": "deg", "nm": "Nm", "n.m": "Nm", "pa": "Pa", "kpa": "kPa", "hpa": "hPa", "mbar": "mbar", "bar": "bar",
    "psi": "psi", "s": "s", "sec": "s", "min": "min", "minute": "min", "h": "h", "hour": "h", "km": "km", "m": "m",
    "mi": "mi", "g/s": "g/s", "l/h": "L/h",
}  # fmt: skip


def unit_of(text: str | None) -> str | None:
    """Return the unit that a file spells in its own way; None for none, or one that is not known."""
    spelt = (text or "").strip()
    return spelt if spelt in UNITS and spelt else _UNIT_NAMES.get(spelt.lower())


def snake_case(name: str) -> str:
    """Spell a name of any style in snake_case: "VehSpd_FL" becomes "veh_spd_fl"."""
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z0-9])(?=[A-Z][a-z])", "_", name)
    return re.sub(r"[^a-z0-9]+", "_", parted.lower()).strip("_") or "unnamed"


def means_not_available(label: str) -> bool:
    """Say whether a label of a raw number says that there is no value: "SNA", "NotAvailable", "invalid"."""
    return _GONE.fullmatch(snake_case(label).replace("_", " ")) is not None


def means_no_quantity(label: str) -> bool:
    """Say the same of a label of what has a unit or a scale, of which an error is no value either."""
    return means_not_available(label) or _WRONG.fullmatch(snake_case(label).replace("_", " ")) is not None


def ranges(raws: Iterable[int]) -> tuple[tuple[int, int], ...]:
    """Return numbers as (first, last) of those that follow each other."""
    found: list[tuple[int, int]] = []
    for raw in sorted(raws):
        if found and found[-1][1] == raw - 1:
            found[-1] = found[-1][0], raw
        else:
            found.append((raw, raw))
    return tuple(found)


def as_switch(labels: Mapping[int, str]) -> tuple[tuple[int, bool], ...]:
    """Return the values of a switch from labels "true" and "false"; () if there are others or none."""
    words = {label.lower() for label in labels.values()}
    return tuple((raw, label.lower() == "true") for raw, label in labels.items()) if words <= {"true", "false"} else ()


def written_by_us(signal: Any, prefix: str) -> str | None:
    """Return the name that an export of ours puts in front of a comment; others' comments do not begin with one."""
    found = re.match(rf"({re.escape(prefix)}(?:\.[a-z0-9_]+)+)(?=: |$)", signal.comment or "")
    return found[1] if found and found[1].replace(".", "_").endswith(signal.name) else None


def restored(made: Field, signal: Any, labels: Mapping[int, str]) -> list[Field]:
    """Return what an export of ours made of signals of the catalogue; nothing where name, unit or meaning differ.

    Args:
        made: the field, but for its name.
        signal: as cantools has it.
        labels: of raw numbers.
    """
    names, _, meaning = " ".join((signal.comment or "").split()).partition(": ")
    known = [CATALOGUE[name] for name in names.split(JOINS) if name in CATALOGUE]
    if len(known) > 1:
        return _buttons(made, names, known, labels)
    if not known or known[0].meaning != meaning or not known[0].name.replace(".", "_").endswith(signal.name):
        return []
    one = known[0]
    whole = (made.scale, made.offset) == (1.0, 0.0)
    if one.kind is Kind.NUMBER:
        return _number(made, one, signal.unit, labels)
    if one.kind is Kind.SWITCH and whole and (as_switch(labels) or (not labels and made.bits.length == 1)):
        return [replace(made, signal=one.name, values=as_switch(labels))]
    if one.kind is Kind.CHOICE and whole and labels and set(labels.values()) <= set(one.choices):
        return [replace(made, signal=one.name, values=tuple(labels.items()))]
    return []


def _number(made: Field, one: Signal, spelt: str | None, labels: Mapping[int, str]) -> list[Field]:
    unit = unit_of(spelt) or ""
    if UNITS[unit].quantity != UNITS[one.unit].quantity or not all(map(means_not_available, labels.values())):
        return []
    return [replace(made, signal=one.name, unit=None if unit == one.unit else unit, unavailable=ranges(labels))]


def _buttons(made: Field, names: str, known: list[Signal], labels: Mapping[int, str]) -> list[Field]:
    """Return the switches that share a field, whose words became its values."""
    words = {word: raw for raw, word in labels.items()}
    rest = tuple((raw, False) for raw, word in labels.items() if word == RELEASED)
    last = {one.name: one.name.rpartition(".")[2] for one in known}
    switches = all(one.kind is Kind.SWITCH and last[one.name] in words for one in known)
    if not switches or len(known) != len(names.split(JOINS)) or len(words) != len(labels):
        return []
    return [replace(made, signal=name, values=(*rest, (words[word], True))) for name, word in last.items()]
