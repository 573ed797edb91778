"""Values a person types: ``engine.boost_pressure="0.84 bar"``, ``vehicle.ignition=ON``, ``dashboard.night=yes``."""

from __future__ import annotations

import re
from math import isfinite

from ..contract.errors import GivenError
from ..contract.signals import Kind, Signal, Value
from ..contract.units import UNITS, compatible, convert
from ..signals.catalogue import Catalogue

_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)\s*(.*?)\s*", re.IGNORECASE)
_SWITCH = {"on": True, "yes": True, "true": True, "1": True, "off": False, "no": False, "false": False, "0": False}


def given(text: str, catalogue: Catalogue) -> tuple[Signal, Value]:
    """Read ``signal=value``; a number may carry a unit, else it is in the signal's stored one.

    Raises:
        GivenError: it cannot be read; the message says what is allowed.
    """
    name, equals, value = text.partition("=")
    if not equals:
        raise GivenError(f"--set takes signal=value, such as engine.boost_pressure='0.8 bar'; found {text!r}")
    signal = catalogue.signal(name.strip())
    return signal, _value(signal, value.strip())


def _value(signal: Signal, text: str) -> Value:
    if signal.kind is Kind.NUMBER:
        return _number(signal, text)
    if signal.kind is Kind.SWITCH:
        if text.lower() not in _SWITCH:
            raise GivenError(f"{signal.name} is a switch: on or off; found {text!r}")
        return _SWITCH[text.lower()]
    if signal.kind is Kind.CHOICE and text not in signal.choices:
        raise GivenError(f"{signal.name} is one of {', '.join(signal.choices)}; found {text!r}")
    return text


def _number(signal: Signal, text: str) -> float:
    found = _NUMBER.fullmatch(text)
    if not found or not isfinite(float(found[1])):
        raise GivenError(f"{signal.name} takes a number and perhaps a unit, such as '90 {signal.unit}'; found {text!r}")
    unit = _unit(signal, found[2])
    value = convert(float(found[1]), unit, signal.unit)
    low, high = signal.low, signal.high
    if (low is not None and value < low) or (high is not None and value > high):
        raise GivenError(
            f"{signal.name} lies between {low:g} and {high:g} {signal.unit}; found {text!r}, which is {value:g}"
        )
    return value


def _unit(signal: Signal, text: str) -> str:
    """Return the unit's name; labels a person would type ("°C") are understood too."""
    if not text:
        return signal.unit
    for name in compatible(signal.unit):
        if text.casefold() in (name.casefold(), UNITS[name].label.casefold()):
            return name
    raise GivenError(f"{signal.name} can be given in {', '.join(compatible(signal.unit))}; found {text!r}")
