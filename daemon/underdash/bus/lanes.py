"""Which control units can be told apart on a bus, and which ids the car itself sends.

Two units may share a pair of ids only where an address byte tells them apart: else a request meant for one is taken by
both, or an answer of one for the other's.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from itertools import combinations

from ..contract.cars import CarDescription
from ..contract.layout import BroadcastListener
from ..contract.requests import ControlUnit
from .frames import fits, id_text, key_of
from .legislated import has_legislated_id, own_id, speaks_to_all


def mixed_up(units: Collection[ControlUnit]) -> dict[str, str]:
    """Return the units nobody can tell from another, name to why, as the end of a sentence about the unit."""
    found = {one.name: why for one in units if (why := _impossible(one) or _nowhere(one))}
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
    asked = "gets flow control on" if speaks_to_all(one) or speaks_to_all(other) else "is asked on"
    ways = (
        (asked, (own_id(one), one.address), (own_id(other), other.address)),
        ("answers on", (one.response_id, one.reply_prefix), (other.response_id, other.reply_prefix)),
    )
    for way, (mine, address), (others, another) in ways:
        if mine is None or others is None:
            continue
        apart = address is not None and another is not None and address != another
        key = key_of(mine, one.extended)
        if key == key_of(others, other.extended) and not apart:
            return f"{way} {id_text(key)}"
    return ""


def _impossible(unit: ControlUnit) -> str:
    """Say what of a unit no frame can carry, "" if nothing; a description in code may hold any number."""
    for way, can_id in (("is asked on", unit.request_id), ("answers on", unit.response_id)):
        if not fits(can_id, unit.extended):
            most = "1FFFFFFF with 29 bits" if unit.extended else "7FF with 11 bits"
            return f"{way} {can_id:X}, and the last id is {most}; correct the id, or say that it is extended"
    numbers = {"address": unit.address, "reply_address": unit.reply_address, "padding": unit.padding}
    numbers |= {"block_size": unit.block_size, "st_min": unit.st_min}
    wrong = next((name for name, one in numbers.items() if one is not None and not 0 <= one <= 0xFF), "")
    return f"has {numbers[wrong]} as its {wrong}, which has to be a byte; correct it" if wrong else ""


def _nowhere(unit: ControlUnit) -> str:
    """Say why nobody can tell which unit answers a request to all, "" if that can be told."""
    if not speaks_to_all(unit):
        return ""
    asked = f"is asked on {id_text(key_of(unit.request_id, unit.extended))} with all units"
    remedy = "ask it on its own id, or give the standard's id of its answers"
    if unit.address is not None:
        return f"{asked} and has an address byte, which these do not have; {remedy}"
    if own_id(unit) is None or not has_legislated_id(key_of(own_id(unit) or 0, unit.extended)):
        answers = id_text(key_of(unit.response_id, unit.extended))
        return f"{asked} and answers on {answers}, which does not tell its own id; {remedy}"
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
