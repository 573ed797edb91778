"""What a person may ask for by hand: found by its name, compiled like a declared request, and nothing else.

Only identifiers are free. Protocols are those of the standards that read, and the formats that the car's description
holds; whether one of these may be used is for the guard to say.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from ..bus.frames import id_text, key_of
from ..bus.lanes import mixed_up
from ..bus.legislated import FUNCTIONAL, has_legislated_id
from ..bus.templates import Template
from ..config.mistakes import nearest
from ..contract.errors import GivenError
from ..contract.requests import ControlUnit, PollRequest
from ..diagnostics.obd import with_fields
from ..diagnostics.permits import templates_of
from ..diagnostics.polls import CompiledPoll
from ..diagnostics.requests import compile_by_hand
from ..diagnostics.speech import STANDARD
from ..signals.store import Store
from .assembly import Assembly

STANDARD_REPLY = 8
"""What a legislated id of 11 bits and that of its answer differ by (ISO 15765-4)."""
WHO = ("service_01", 0x00)
"""What every unit of ISO 15765-4 answers: which parameters it has."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A request that a person wants sent.

    Attributes:
        poll: ready to be sent and read.
        template: what the guard has to let out for it, this identifier and no other.
        store: gets its values.
    """

    poll: CompiledPoll
    template: Template
    store: Store


def wanted(assembly: Assembly, query: Mapping[str, Any]) -> Wanted:
    """Compile what was asked for.

    Args:
        assembly: of the car.
        query: `what` (a control unit, a signal or a described request), and with a unit its `identifier` (a number)
            and `protocol` where it speaks several; or `bus` and `request`, a request id of ISO 15765-4.

    Raises:
        GivenError: it is not known, or is nothing that may be asked for.
    """
    if "request" in query:
        unit, protocol, number = _anybody(assembly, query)
    else:
        unit, protocol, number = _named(assembly, query)
    request = _request(assembly, unit.name, protocol, number)
    store = assembly.store.empty()
    car = assembly.car
    if unit not in car.units:
        car = replace(car, units=(*car.units, unit))
    poll = compile_by_hand(car, request, store, assembly.catalogue)
    templates, problems = templates_of([poll])
    if problems or len(templates) != 1:
        raise GivenError("; ".join(problems) or f"{poll.name} makes no request")
    return Wanted(poll, templates[0], store)


def protocols_of(assembly: Assembly, unit: str) -> list[str]:
    """Return the protocols in which something is declared for a unit, those that may be asked in by hand."""
    ours = _protocols(assembly)
    declared = dict.fromkeys(poll.speech.name for poll in assembly.compiled.polls if poll.unit.name == unit)
    return [name for name in declared if name in ours]


def described(assembly: Assembly, unit: str, protocol: str) -> dict[int, str]:
    """Return what is declared for a unit in a protocol: identifier to its signals, for people."""
    return {
        poll.identifier: ", ".join(poll.signals)
        for poll in assembly.compiled.polls
        if (poll.unit.name, poll.speech.name) == (unit, protocol)
    }


# --- by name ------------------------------------------------------------------------------------------------------


def _named(assembly: Assembly, query: Mapping[str, Any]) -> tuple[ControlUnit, str, int]:
    what, number = _text(query, "what"), query.get("identifier")
    units = {unit.name: unit for unit in assembly.car.units}
    if number is None:
        return _declared(assembly, what, units)
    if not isinstance(number, int) or isinstance(number, bool):
        raise GivenError(f"identifier {number!r} is no whole number")
    if what not in units:
        raise GivenError(f"the car {assembly.car.name!r} has no control unit {what!r}.{_near(what, units)}")
    if what in (wrong := mixed_up(assembly.car.units)):
        raise GivenError(f"unit {what} is not asked anything: it {wrong[what]}")
    protocol = query.get("protocol")
    return units[what], _protocol(assembly, what, number, protocol), number


def _declared(assembly: Assembly, what: str, units: Mapping[str, ControlUnit]) -> tuple[ControlUnit, str, int]:
    if what in units:
        raise GivenError(f"{what} is a control unit; say which identifier, such as underdash ask {what} 21C7")
    for poll in assembly.compiled.polls:
        if what == poll.name or what in poll.signals:
            if poll.speech.name not in _protocols(assembly):
                raise GivenError(f"{what} is asked for in a plug-in's own protocol, which is not asked in by hand")
            return poll.unit, poll.speech.name, poll.identifier
    names = [*units, *(one for poll in assembly.compiled.polls for one in (poll.name, *poll.signals))]
    raise GivenError(
        f"{what!r} is neither a control unit, nor a signal that is asked for, nor a described request."
        f"{_near(what, names)}"
    )


def _protocol(assembly: Assembly, unit: str, number: int, given: object) -> str:
    """Return the protocol that was chosen, or the only one it can be."""
    there = _protocols(assembly)
    if given is not None:
        if given not in there:
            raise GivenError(f"protocol {given!r} is none that is asked in by hand.{_near(str(given), there)}")
        return str(given)
    spoken = protocols_of(assembly, unit)
    fits = [name for name in spoken if number in described(assembly, unit, name)]
    for one in (fits, spoken):
        if len(one) == 1:
            return one[0]
    if not spoken:
        raise GivenError(f"nothing says which protocol {unit} speaks; choose with --protocol: {', '.join(there)}")
    raise GivenError(f"{unit} speaks {' and '.join(spoken)}; choose with --protocol")


def _protocols(assembly: Assembly) -> list[str]:
    return [*(speech.name for speech in STANDARD), *(form.name for form in assembly.car.formats)]


def _request(assembly: Assembly, unit: str, protocol: str, number: int) -> PollRequest:
    for poll in assembly.compiled.polls:
        if (poll.unit.name, poll.speech.name, poll.identifier) == (unit, protocol, number):
            fields = poll.fields
            break
    else:
        fields = with_fields(PollRequest(unit, protocol, number, ())).fields
    # what another request scales is shown as bytes only
    plain = tuple(one for one in fields if one.full_scale_from is None)
    return PollRequest(unit, protocol, number, plain, once=True)


# --- who is there -------------------------------------------------------------------------------------------------


def _anybody(assembly: Assembly, query: Mapping[str, Any]) -> tuple[ControlUnit, str, int]:
    """Return a unit that may be at an id of ISO 15765-4, and what it is asked."""
    bus, text = _text(query, "bus"), _text(query, "request")
    roles = [one.role for one in assembly.car.buses]
    if bus not in roles:
        raise GivenError(f"the car {assembly.car.name!r} has no bus {bus!r}.{_near(bus, roles)}")
    try:
        can_id = int(text, 16)
    except ValueError:
        raise GivenError(f"request id {text!r} is no hex number") from None
    extended = len(text) > 3
    key = key_of(can_id, extended)
    if not has_legislated_id(key) or key in FUNCTIONAL:
        raise GivenError(f"{text} is no id of ISO 15765-4 at which one unit is asked: 7E0 to 7E7, 18DA00F1 to 18DAFFF1")
    for unit in assembly.car.units:
        if (unit.bus, key_of(unit.request_id, unit.extended)) == (bus, key):
            if unit.address is not None or unit.name in mixed_up(assembly.car.units):
                raise GivenError(f"{unit.name} is at {id_text(key)} with an address byte; ask it by its name")
            return unit, *WHO
    reply = 0x18DA_F100 | (can_id >> 8 & 0xFF) if extended else can_id + STANDARD_REPLY
    return ControlUnit(f"unit at {id_text(key)}", bus, can_id, reply, extended), *WHO


def standard_ids() -> list[str]:
    """Return the request ids of ISO 15765-4 at which one unit is asked, the usual ones first."""
    short = [f"{can_id:03X}" for can_id in range(0x7E0, 0x7E8)]
    return short + [f"18DA{address:02X}F1" for address in range(0x100) if address != 0xF1]


def _text(query: Mapping[str, Any], key: str) -> str:
    value = query.get(key)
    if not isinstance(value, str) or not value:
        raise GivenError(f"a request by hand comes with {key!r}, a text; found {value!r}")
    return value


def _near(what: str, names: Any) -> str:
    near = nearest(what, dict.fromkeys(names))
    return f" Did you mean {near}?" if near else f" There are: {', '.join(dict.fromkeys(names)) or 'none'}"
