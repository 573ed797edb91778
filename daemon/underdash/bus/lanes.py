"""Which control units can be told apart on a bus, and which ids the car itself sends.

Two units may share a pair of ids only where an address byte tells them apart: else a request meant for one is taken by
both, or an answer of one for the other's.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations

from ..contract.cars import CarDescription
from ..contract.layout import BroadcastListener
from ..contract.requests import ControlUnit
from .frames import id_text, key_of


def mixed_up(units: Iterable[ControlUnit]) -> dict[str, str]:
    """Return the units nobody can tell from another, name to why, as the end of a sentence about the unit."""
    found: dict[str, str] = {}
    for one, other in combinations(units, 2):
        why = _alike(one, other)
        if why:
            remedy = "give each its own ids, or each an address of its own"
            found.setdefault(one.name, f"{why}, as {other.name} does; {remedy}")
            found.setdefault(other.name, f"{why}, as {one.name} does; {remedy}")
    return found


def _alike(one: ControlUnit, other: ControlUnit) -> str:
    """Say what two units share that does not tell them apart, "" if nothing."""
    if one.bus != other.bus:
        return ""
    ways = (
        ("is asked on", (one.request_id, one.address), (other.request_id, other.address)),
        ("answers on", (one.response_id, one.reply_prefix), (other.response_id, other.reply_prefix)),
    )
    for way, (mine, address), (others, another) in ways:
        apart = address is not None and another is not None and address != another
        key = key_of(mine, one.extended)
        if key == key_of(others, other.extended) and not apart:
            return f"{way} {id_text(key)}"
    return ""


def keys_sent(car: CarDescription, listeners: Iterable[BroadcastListener] = ()) -> dict[tuple[str, int], str]:
    """Return (bus, key) of what the car itself sends, with what that is.

    Args:
        car: its broadcasts, answers, signs of life and fingerprint.
        listeners: what plug-ins listen for.
    """
    found = {(one.bus, key_of(one.id, one.extended)): "a broadcast" for one in (*car.broadcasts, *listeners)}
    found |= {(one.bus, key_of(one.id, one.extended)): "a frame of the fingerprint" for one in car.fingerprint}
    found |= {one.alive_with: "a sign of life of the ignition" for one in car.ignition if one.alive_with is not None}
    for unit in car.units:
        found[unit.bus, key_of(unit.response_id, unit.extended)] = f"an answer of {unit.name}"
    return found
