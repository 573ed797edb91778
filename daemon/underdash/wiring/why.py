"""Why a signal has no value: the chain from the page to the bus is followed down to the link that is broken.

Pure: everything that has to be known is in `Facts`, which `gathering.py` takes from a running daemon or from files.
A source is looked at from the ground up, since what is broken below explains what is missing above.
"""

from __future__ import annotations

from math import inf

from ..contract.signals import Age, Quality, Reading
from .chain import Cause, Chain, Fault, Kind, Link, State
from .facts import Asked, BusFact, Computed, Facts, Heard, SignalFact, Source, Wired
from .judging import about_bus, about_guard, about_parking, about_poll, about_suspension, about_vetting, not_running

RECENT_S = 5.0
"""A count that rose within this time is what is the matter now."""


def why(signal: str, facts: Facts) -> Chain:
    """Return the chain of a signal."""
    fact = facts.signals.get(signal, SignalFact())
    reading = fact.reading
    links, fault, others = _below(signal, facts, frozenset())
    page_links, page_fault = _pages(facts)
    if page_fault is not None and fault.cause is Cause.FINE:
        fault = page_fault
    elif page_links and page_links[0].state is State.BROKEN:
        page_links = [Link(Kind.PAGE, one.name, State.WAITS, one.text) for one in page_links]
    value = "--" if reading is None else f"{reading.text} {reading.unit}".rstrip()
    return Chain(signal, fault, (*page_links, *links), value, others)


def _pages(facts: Facts) -> tuple[list[Link], Fault | None]:
    """Return the pages that show it; at fault are they only if all of them were taken off."""
    off = [page for page in facts.pages if page.off]
    if off and len(off) == len(facts.pages):
        page = off[0]
        fault = Fault(Cause.PAGE_OFF, f"page {page.name} is off", "see underdash status", page.off)
        return [Link(Kind.PAGE, page.name, State.BROKEN, f"taken off: {page.off}")], fault
    return [
        Link(Kind.PAGE, page.name, State.OK, f"on {page.panel}" + (", on show" if page.on_show else ""))
        for page in facts.pages
        if not page.off
    ], None


def _below(signal: str, facts: Facts, seen: frozenset[str]) -> tuple[list[Link], Fault, tuple[str, ...]]:
    """Return the links below the page, what is the matter, and sentences about other sources."""
    fact = facts.signals.get(signal, SignalFact())
    if not fact.sources:
        fault = _nobody(signal, facts)
        return [Link(Kind.SIGNAL, signal, State.BROKEN, fault.text or fault.short)], fault, ()
    if _fresh(fact.reading):
        links, fault = _working(signal, fact, facts)
        return links, fault, ()
    found = [_source(signal, source, fact, facts, seen) for source in fact.sources]
    links, fault = found[0]
    return links, fault, tuple(other.sentence for _, other in found[1:])


def _nobody(signal: str, facts: Facts) -> Fault:
    if not facts.known:
        near = f"did you mean {facts.near}?" if facts.near else "see underdash signals"
        return Fault(Cause.UNKNOWN, "no such signal", near)
    owner = signal.split(".", maxsplit=1)[0]
    if owner in facts.plugins:
        return Fault(
            Cause.PLUGIN_REFUSED,
            f"plug-in {owner} does not run",
            "see underdash check",
            f"nobody provides it, and plug-in {owner} does not run: {facts.plugins[owner]}",
        )
    # whose a signal of the catalogue would be is not known
    refused = (
        f"; {', '.join(facts.plugins)} may bring it and does not run, see underdash check" if facts.plugins else ""
    )
    return Fault(
        Cause.NO_SOURCE,
        "nobody provides it",
        "describe it or add a plug-in",
        "no frame, request, input or computed signal gives it; describe one in the car's file (DEVELOPERS.md), or "
        f"enable a plug-in that brings it{refused}",
    )


def _fresh(reading: Reading | None) -> bool:
    return reading is not None and reading.value is not None and reading.age is Age.FRESH


def _working(signal: str, fact: SignalFact, facts: Facts) -> tuple[list[Link], Fault]:
    reading, source = fact.reading, fact.sources[0]
    if reading is None:
        raise ValueError(f"{signal} is not read")
    in_use = next((one for one in fact.sources if _name(one) == reading.source), source)
    age = "" if reading.seconds_old is None else f", {reading.seconds_old:.1f} s old"
    text = f"{reading.text} {reading.unit}".rstrip() + f" from {reading.source}{age}"
    fault = Fault(Cause.FINE, "it is fine", text=text)
    state = State.OK
    if reading.quality in (Quality.ASSUMED, Quality.DATED):
        state = State.BROKEN
        fault = _doubtful(reading, in_use, facts)
    links = [Link(_kind(in_use), _title(in_use), state, text)]
    bus = getattr(in_use, "bus", None)
    if isinstance(bus, str) and bus in facts.buses:
        status = facts.buses[bus].status
        links.append(Link(Kind.BUS, bus, State.OK, status.sentence if status else ""))
    return links, fault


def _doubtful(reading: Reading, source: Source, facts: Facts) -> Fault:
    owner = source.owner if isinstance(source, Computed) else reading.source
    inputs = source.inputs if isinstance(source, Computed) else ()
    missing = [name for name in inputs if not _fresh(facts.signals.get(name, SignalFact()).reading)]
    without = f"; without a value: {', '.join(missing)}" if missing else ""
    if reading.quality is Quality.ASSUMED:
        text = f"a constant stands in for what it is measured against{without}; README.md of {owner} says how to get it"
        return Fault(Cause.ASSUMED, "reference assumed", f"see {owner}", text)
    text = f"what it is measured against was measured too long ago{without}; README.md of {owner} says how to renew it"
    return Fault(Cause.DATED, "reference old", f"see {owner}", text)


# --- a source that gives nothing ------------------------------------------------------------------------------------


def _source(
    signal: str, source: Source, fact: SignalFact, facts: Facts, seen: frozenset[str]
) -> tuple[list[Link], Fault]:
    match source:
        case Heard():
            return _heard(source, fact, facts)
        case Asked():
            return _asked(source, fact, facts)
        case Computed():
            return _computed(signal, source, facts, seen | {signal})
        case Wired():
            fault = _wired(source) if facts.live else not_running()
            return [Link(Kind.INPUT, source.name, State.BROKEN, fault.text or fault.short)], fault


def _wired(source: Wired) -> Fault:
    if source.absent:
        return Fault(Cause.INPUT_ABSENT, f"{source.name} is not there", "check its wire", source.absent)
    if source.beyond:
        return Fault(Cause.SENDER, f"{source.name}: value out of range", "check its wire", source.beyond)
    old = "never" if source.old_s is None else f"{source.old_s:.1f} s ago"
    return Fault(Cause.STOPPED, f"{source.name} is not read", "check its wire", f"last read {old}")


def _heard(source: Heard, fact: SignalFact, facts: Facts) -> tuple[list[Link], Fault]:
    bus = facts.buses.get(source.bus, BusFact(source.bus, connected=False))
    ground = about_bus(bus)
    if ground is not None:
        return _chained([(Kind.FRAME, source.name), (Kind.BUS, bus.role)], 1, ground, bus), ground
    fault = _about_frame(source, fact, facts) if facts.live else not_running()
    return _chained([(Kind.FRAME, source.name), (Kind.BUS, bus.role)], 0, fault, bus), fault


_DROPPED = {
    Cause.CHECKSUM: "frame {name} is heard and dropped, since its checksum does not fit the description's rule",
    Cause.COUNTER: "frame {name} is heard and dropped, since its counter stands still: nobody fills it any more",
    Cause.FRAME_SHORT: "frame {name} is heard and dropped, since it has fewer bytes than its fields need",
    Cause.UNAVAILABLE: "frame {name} is heard, and in it the car marks the value as not available",
    Cause.IMPLAUSIBLE: "frame {name} is heard, and the value is outside what is plausible: wrong bits, scale or sign",
}


def _about_frame(source: Heard, fact: SignalFact, facts: Facts) -> Fault:
    name, drops = source.name, source.drops
    for ago, cause, short, remedy in (
        (drops.checksum, Cause.CHECKSUM, "wrong checksum", "correct it in the description"),
        (drops.repeated, Cause.COUNTER, "counter stands still", "does its sender hang?"),
        (drops.short, Cause.FRAME_SHORT, "frame too short", "correct its fields"),
        (drops.unavailable, Cause.UNAVAILABLE, "not available", "wait until the car has it"),
        (drops.implausible, Cause.IMPLAUSIBLE, "value out of range", "correct its scale"),
    ):
        if ago <= RECENT_S:
            text = f"{_DROPPED[cause].format(name=name)}, last {ago:.1f} s ago"
            return Fault(cause, f"{name}: {short}", remedy, text)
    if not source.count:
        if facts.differs:
            return Fault(Cause.WRONG_CAR, "not the described car", "choose its description", facts.differs)
        text = f"frame {name} was not heard with this value in it; check id, variant and whether this car has it"
        return Fault(Cause.NEVER_HEARD, f"{name} never heard", "check id and variant", text)
    old = inf if source.old_s is None else source.old_s
    if fact.reading is not None and fact.reading.age is Age.LATE:
        return Fault(Cause.LATE, f"{name} is late", "wait", f"last heard {old:.1f} s ago")
    text = f"last heard {old:.0f} s ago; its sender sleeps, or lost its supply" if old < inf else "its bus fell silent"
    return Fault(Cause.STOPPED, f"{name} not heard any more", "is its sender awake?", text)


def _asked(source: Asked, fact: SignalFact, facts: Facts) -> tuple[list[Link], Fault]:
    bus = facts.buses.get(source.bus, BusFact(source.bus, connected=False))
    parts = [(Kind.POLL, source.name), (Kind.GUARD, f"of {bus.role}"), (Kind.BUS, bus.role)]
    at, fault = _about_asked(source, bus, fact, facts)
    return _chained(parts, at, fault, bus, poll=source.sentence), fault


def _about_asked(source: Asked, bus: BusFact, fact: SignalFact, facts: Facts) -> tuple[int, Fault]:
    """Return which of poll, guard and bus is broken, and how; the ground is looked at first."""
    if (ground := about_bus(bus, asking=True)) is not None:
        return 2, ground
    if source.never is not None or source.flow is not None:
        return 1, about_vetting(source)
    if source.parked:
        return 0, about_suspension(source) if source.suspended else about_parking(source)
    if (gate := about_guard(bus, facts)) is not None:
        return 1, gate
    if facts.live and facts.polling and not facts.paused:
        return about_poll(source, fact.reading, capped=facts.capped)
    return 0, _not_asking(facts)


def _not_asking(facts: Facts) -> Fault:
    """Say why no requests are made at all."""
    if not facts.live:
        return not_running()
    if facts.paused:
        text = "polls pause while somebody asks control units by hand (underdash ask), and go on two seconds later"
        return Fault(Cause.BY_HAND, "somebody asks by hand", "wait until they end", text)
    return Fault(Cause.ASLEEP, "nothing is asked, car parked", "switch the ignition on")


def _computed(signal: str, source: Computed, facts: Facts, seen: frozenset[str]) -> tuple[list[Link], Fault]:
    link = f"{signal} by {source.owner}"
    if source.suspended:
        fault = about_suspension(source)
        return [Link(Kind.DERIVED, link, State.BROKEN, source.suspended)], fault
    missing = [name for name in source.inputs if not _fresh(facts.signals.get(name, SignalFact()).reading)]
    # what nobody provides is often one of several ways; what is provided and silent is the better explanation
    missing.sort(key=lambda name: not facts.signals.get(name, SignalFact()).sources)
    for name in missing:
        if name in seen:
            continue
        links, fault, _ = _below(name, facts, seen | {name})
        if fault.cause in (Cause.NO_SOURCE, Cause.PLUGIN_REFUSED, Cause.UNKNOWN):
            text = f"it is computed from {', '.join(source.inputs)}, and nobody provides {name}"
            gap = Fault(Cause.NO_INPUT, f"nobody provides {name}", "describe it or add a plug-in", text)
            return [Link(Kind.DERIVED, link, State.WAITS, f"needs {name}"), *links], gap
        return [Link(Kind.DERIVED, link, State.WAITS, f"needs {name}"), *links], fault
    if not facts.live:
        fault = not_running()
        return [Link(Kind.DERIVED, link, State.UNKNOWN, "")], fault
    text = f"its inputs {', '.join(source.inputs)} are there; plug-in {source.owner} has nothing to say yet"
    fault = Fault(Cause.NO_RESULT, f"{source.owner} has no result yet", f"see {source.owner}", text)
    return [Link(Kind.DERIVED, link, State.BROKEN, text)], fault


def _chained(parts: list[tuple[Kind, str]], broken: int, fault: Fault, bus: BusFact, poll: str = "") -> list[Link]:
    """Return links of which one is broken: above it they wait, below it they are in order as far as is known."""
    links = []
    for at, (kind, name) in enumerate(parts):
        if at == broken:
            unsure = fault.cause is Cause.NOT_RUNNING
            links.append(Link(kind, name, State.UNKNOWN if unsure else State.BROKEN, fault.text or fault.short))
        elif at < broken:
            links.append(Link(kind, name, State.WAITS, poll if kind is Kind.POLL else ""))
        elif bus.status is None:
            links.append(Link(kind, name, State.UNKNOWN))
        else:
            open_gate = bus.closed is None
            text = "open" if kind is Kind.GUARD and open_gate else bus.status.sentence if kind is Kind.BUS else ""
            links.append(Link(kind, name, State.OK if kind is Kind.BUS or open_gate else State.UNKNOWN, text))
    return links


def _name(source: Source) -> str:
    """Return how the store names a source."""
    match source:
        case Heard():
            return f"broadcast {source.name}"
        case Asked():
            return f"poll {source.name}"
        case Computed():
            return f"derived by {source.owner}"
        case Wired():
            return source.name


def _kind(source: Source) -> Kind:
    match source:
        case Heard():
            return Kind.FRAME
        case Asked():
            return Kind.POLL
        case Computed():
            return Kind.DERIVED
        case Wired():
            return Kind.INPUT


def _title(source: Source) -> str:
    return f"by {source.owner}" if isinstance(source, Computed) else source.name
