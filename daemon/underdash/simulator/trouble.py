"""What can be made to go wrong on a simulated drive, as a person names it: a control unit's fault, or a bus's."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from ..contract.errors import GivenError
from ..signals.searching import nearest
from .faults import Fault


class BusFault(StrEnum):
    """What is wrong with a bus."""

    NONE = "none"
    UNPLUGGED = "unplugged"
    """Our adapter was pulled out."""
    DEAD = "dead"
    """No frame comes any more, ours neither."""
    BLOCKED = "blocked"
    """Our own frames do not get out; the others' are heard."""
    ERRORS = "errors"
    """Our controller hears errors only, as at a wrong rate."""
    OFF = "off"
    """Our controller took itself off the bus."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """A fault, where, and when.

    Args:
        fault: its name.
        units, buses: who has it.
        at_s: seconds of the drive.
    """

    fault: str
    units: tuple[str, ...]
    buses: tuple[str, ...]
    at_s: float

    def __str__(self) -> str:
        where = self.units + self.buses
        return f"{where[0] if len(where) == 1 else 'all'}.{self.fault.replace(' ', '-')}"


def names() -> str:
    """Return all names of faults for a person."""
    units, buses = (", ".join(_spelt(one) for one in kind if one != "none") for kind in (Fault, BusFault))
    return f"of control units: {units}; of buses: {buses}; none ends one"


def trouble(text: str, units: Collection[str], buses: Collection[str]) -> Trouble:
    """Read ``silent``, ``gearbox.silent`` or ``drive.unplugged@120``: who, what, and from which second on.

    Args:
        text: what a person gave; without a name in front all control units, or all buses, have the fault.
        units, buses: there are.

    Raises:
        GivenError: no such fault, unit, bus or second; with the nearest name.
    """
    what, at, second = text.partition("@")
    where, _, name = what.rpartition(".")
    if where and where not in (*units, *buses):
        there = (*units, *buses)
        raise GivenError(f"--fault {text}: no control unit or bus {where!r}{_near(where, there)} {', '.join(there)}")
    of_units, of_buses = ({_spelt(one): str(one) for one in kind} for kind in (Fault, BusFault))
    ours = tuple(one for one in units if where in ("", one)) if name in of_units else ()
    its = tuple(one for one in buses if where in ("", one)) if name in of_buses else ()
    if not ours and not its:
        possible = [*(of_units if where not in buses else ()), *(of_buses if where not in units else ())]
        whose = f"{where} has no" if where else "there is no"
        raise GivenError(f"--fault {text}: {whose} fault {name!r}{_near(name, possible)} faults {names()}")
    return Trouble((of_units | of_buses)[name], ours, its, _seconds(text, second) if at else 0.0)


def _seconds(text: str, second: str) -> float:
    try:
        value = float(second)
    except ValueError:
        value = -1.0
    if not isfinite(value) or value < 0:
        raise GivenError(f"--fault {text}: behind @ stand the seconds of the drive, such as @120; found {second!r}")
    return value


def _spelt(fault: str) -> str:
    return fault.replace(" ", "-")


def _near(found: str, there: Collection[str]) -> str:
    near = nearest(found, dict.fromkeys(there))
    return f"; did you mean {near}? There are:" if near else "; there are:"
