"""What a bus, the guard and a request are found to be suffering from, each as a fault with its remedy. Pure."""

from __future__ import annotations

from ..bus.health import BusState
from ..bus.refusals import Reason, Refusal
from ..contract.signals import Age, Reading
from ..diagnostics.standing import How
from ..power.ignition import Position
from .chain import Cause, Fault
from .facts import Asked, BusFact, Computed, Facts

POLL, GUARD = 0, 1
RECENT_S = 5.0
SAME_S = 0.1

_VETTED = {
    Reason.MAKER_PERMISSION: (Cause.MAKER_PERMISSION, "maker's command not allowed", "allow it under [reads]"),
    Reason.MAKER_EVIDENCE: (Cause.MAKER_EVIDENCE, "command not shown to read", "record a tester using it"),
    Reason.LOOKS_LIKE: (Cause.LOOKS_LIKE, "request could be misread", "ask for other identifiers"),
    Reason.ID_IN_USE: (Cause.ID_IN_USE, "the car sends this id itself", "correct request_id"),
}
"""Refusals that rest on the request itself."""

_STANDING = {
    Reason.QUIET: (Cause.QUIET, "quiet was asked for", "underdash quiet off"),
    Reason.TRANSMIT_OFF: (Cause.TRANSMIT_OFF, "sending is off on {bus}", "set transmit = true"),
    Reason.UNPROVEN: (Cause.UNPROVEN, "rate of {bus} not proven", "switch the ignition on"),
    Reason.LISTENS: (Cause.LISTENS, "{bus} only listens", "let its interface take part"),
    Reason.IGNITION_UNSEEN: (Cause.IGNITION_UNSEEN, "ignition not proven", "turn the key on and off once"),
}

_HOW = {
    How.PENDING: (Cause.PENDING, "{unit} still works on it", "wait"),
    How.ENDLESS: (Cause.ENDLESS, "{unit} never gets done with it", "see underdash why"),
    How.UNREADABLE: (Cause.UNREADABLE, "{unit} sends no whole answer", "check ids, unit and wires"),
    How.SHORT: (Cause.ANSWER_SHORT, "{unit}'s answer is too short", "correct its fields"),
    How.BROKEN: (Cause.ANSWER_BROKEN, "{unit}'s answer breaks off", "is the bus overloaded?"),
    How.MISTAKEN: (Cause.PROTOCOL_FAILS, "{unit}'s answer is not read", "tell its plug-in's author"),
    How.BUSY: (Cause.BUSY, "{unit} is busy", "wait"),
    How.DECLINED: (Cause.CONDITIONS, "{unit} declines for now", "see underdash why"),
    How.SILENT: (Cause.UNIT_SILENT, "{unit} does not answer", "check its ids"),
}
"""What a unit does or says."""

_CAPPED = (Cause.CAPPED, "too many requests", "show less, or raise [limits]")
_HELD = {
    Reason.OTHER_TESTER: (Cause.OTHER_TESTER, "another tester is asking", "unplug it, or wait"),
    Reason.RATE: _CAPPED,
    Reason.LOAD: _CAPPED,
}
"""What the guard holds back at this moment, be it a request or what lets its answer go on."""
_FLOW_HELD = (Cause.FLOW_HELD, "{unit}'s long answer is held up", "see underdash why")
_TURN = (Cause.WAITING, "waits for its turn", "")

_BUSES = {
    BusState.ABSENT: (Cause.BUS_ABSENT, "bus {role} is absent", "plug its adapter in"),
    BusState.BUS_OFF: (Cause.BUS_OFF, "bus {role} has switched off", "check rate and wires"),
    BusState.BLOCKED: (Cause.BLOCKED, "requests on {role} get stuck", "check the wires"),
    BusState.SILENT: (Cause.BUS_SILENT, "bus {role} is silent", "wake the car, check the plug"),
}


def not_running() -> Fault:
    """Return what is the matter where nothing is known to be wrong and nothing runs."""
    return Fault(Cause.NOT_RUNNING, "no daemon runs", "start it: underdash run")


def about_bus(bus: BusFact, *, asking: bool = False) -> Fault | None:
    """Say what is the matter with a bus.

    Args:
        bus: which.
        asking: something is to be sent on it.
    """
    role, status = bus.role, bus.status
    if not bus.connected:
        text = f"the configuration has no [bus.{role}]; the car's {role} bus is where this comes from"
        return Fault(Cause.NOT_CONNECTED, f"bus {role} is not connected", f"add [bus.{role}]", text)
    if status is None:
        return None
    state, text = status.state, status.sentence
    if bus.recorded and state is BusState.ABSENT:
        return Fault(Cause.BUS_ABSENT, f"the recording of {role} has ended", "start the daemon again", text)
    if state is BusState.SILENT and "error frames" in text:
        remedy = "check oscillator and wires" if "oscillator" in text else "check rate and wires"
        return Fault(Cause.WRONG_RATE, f"bus {role} hears errors only", remedy, text)
    in_order = (state is BusState.BLOCKED and not asking) or (state is BusState.SILENT and asking and bus.asked_only)
    if in_order or state not in _BUSES:
        return None
    cause, short, remedy = _BUSES[state]
    return Fault(cause, short.format(role=role), remedy, text)


def about_vetting(source: Asked) -> Fault:
    """Say why a request, or the flow control that its answer needs, is never let out."""
    if source.never is None and source.flow is not None:
        return about_flow(source.flow)
    if source.never is None:
        raise ValueError(f"{source.name} is not refused")
    plain = (Cause.NOT_A_READ, "request does not only read", "take it out")
    cause, short, remedy = _VETTED.get(source.never.reason, plain)
    return Fault(cause, short, remedy, source.never.sentence)


def about_suspension(source: Asked | Computed) -> Fault:
    """Say that the plug-in whose code a source needs is suspended."""
    short = f"plug-in {source.owner} is suspended"
    return Fault(Cause.PLUGIN_SUSPENDED, short, "restart; tell its author", source.suspended)


def about_parking(source: Asked) -> Fault:
    """Say that a request is not asked any more."""
    short = f"{source.unit} does not give it"
    return Fault(Cause.UNSUPPORTED, short, "no value this journey", source.sentence)


def about_flow(refusal: Refusal) -> Fault:
    """Say why the flow control of an answer is never let out."""
    return Fault(Cause.FLOW_HELD, "flow control could be misread", "change block_size or st_min_ms", refusal.sentence)


def _about_permission(bus: BusFact) -> Fault | None:
    if bus.recorded:
        text = f"bus.{bus.role} plays a recorded drive; a value comes once an answer that carries it is heard there"
        return Fault(Cause.RECORDED, f"{bus.role} is a recording", "nothing is asked there", text)
    if bus.transmit:
        return None
    text = f"bus.{bus.role}.transmit is false; it allows requests once listening shows what you expect"
    return Fault(Cause.TRANSMIT_OFF, f"sending is off on {bus.role}", "set transmit = true", text)


def about_guard(bus: BusFact, facts: Facts) -> Fault | None:
    """Say why the guard lets nothing out on a bus."""
    closed = bus.closed
    if closed is None or closed.reason is Reason.RECORDED:
        return _about_permission(bus)
    if closed.reason is Reason.IGNITION:
        return _about_ignition(facts.position, closed.sentence)
    if closed.reason is Reason.WRONG_CAR:
        if facts.recognising:
            return Fault(Cause.RECOGNISING, "recognising the car", "wait", closed.sentence)
        return Fault(Cause.WRONG_CAR, "not the described car", "choose its description", closed.sentence)
    other = (Cause.WAITING, closed.reason.value, "")
    cause, short, remedy = _STANDING.get(closed.reason, other)
    return Fault(cause, short.format(bus=bus.role), remedy, closed.sentence)


def _about_ignition(position: Position, text: str) -> Fault:
    match position:
        case Position.OFF:
            return Fault(Cause.IGNITION_OFF, "the ignition is off", "switch it on", text)
        case Position.UNKNOWN:
            return Fault(Cause.IGNITION_UNKNOWN, "the ignition is unknown", "is its bus alive?", text)
        case _:
            return Fault(Cause.STARTING, "the engine is being started", "wait two seconds", text)


def about_poll(source: Asked, reading: Reading | None, *, capped: bool = False) -> tuple[int, Fault]:
    """Say what is the matter with a request that may be sent; and whether it is that (0) or the guard (1)."""
    unit, text = source.unit, source.sentence
    if not source.wanted:
        return POLL, Fault(Cause.UNWANTED, "nobody wants it", "put its page into a deck", text)
    how, reason = source.told.how, source.told.reason
    if how is How.FLOW_HELD and reason is Reason.LOOKS_LIKE:
        return GUARD, about_flow(Refusal(reason, text))
    if how in (How.HELD, How.FLOW_HELD):
        plain = _TURN if how is How.HELD else _FLOW_HELD
        cause, short, remedy = plain if reason is None else _HELD.get(reason, plain)
        return GUARD, Fault(cause, short.format(unit=unit), remedy, text)
    if how in _HOW:
        cause, short, remedy = _HOW[how]
        return POLL, Fault(cause, short.format(unit=unit), remedy, text)
    fault = _about_answer(source, reading)
    if capped and fault.cause in (Cause.LATE, Cause.WAITING):
        return GUARD, Fault(*_CAPPED, text)
    return POLL, fault


def _held_it(source: Asked) -> bool:
    """Say whether the last answer held the value, so that it only was long ago."""
    answered_s, old_s = source.answered_s, source.old_s
    return answered_s is not None and old_s is not None and old_s <= answered_s + SAME_S


def _about_answer(source: Asked, reading: Reading | None) -> Fault:
    unit, text = source.unit, source.sentence
    if source.drops.implausible <= RECENT_S:
        return Fault(Cause.IMPLAUSIBLE, f"{unit}: value out of range", "correct its scale", text)
    if (reading is not None and reading.age is Age.LATE) or _held_it(source):
        return Fault(Cause.LATE, f"{unit}'s answer is late", "wait", text)
    if source.told.how is How.ANSWERED:
        said = f"{text}; the answer does not hold the value: the unit marks it as not available"
        return Fault(Cause.ANSWER_EMPTY, f"{unit} has no value for it", "wait, or correct its fields", said)
    return Fault(*_TURN, text)
