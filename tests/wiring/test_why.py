"""Why there is no value: every cause, from facts laid out by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from underdash.bus.health import BusState, sentence
from underdash.bus.link import BusStatus
from underdash.bus.refusals import Reason, Refusal
from underdash.contract.signals import Age, Quality, Reading
from underdash.diagnostics.standing import How, Told
from underdash.power.ignition import Position
from underdash.wiring.chain import Cause, Chain, Kind, State, worst
from underdash.wiring.facts import Asked, BusFact, Computed, Drops, Facts, Heard, PageFact, SignalFact, Source, Wired
from underdash.wiring.why import why

SIGNAL = "engine.oil_temperature"
GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
PANEL_CHARACTERS = 72
"""More than this of it cannot be read on a small panel."""


def bus(
    state: BusState = BusState.LISTENING,
    errors: int = 0,
    failure: str = "",
    closed: Refusal | None = None,
    hint: str = "",
    **more: bool,
) -> BusFact:
    text = sentence("drive", state, failure=failure or None, quiet_s=3.0, errors=errors, hint=hint)
    status = BusStatus("drive", state, 900, errors, 0, 0, 0, 0.2, 0.0, True, False, False, text)
    return BusFact("drive", status=status, closed=closed, **more)


def reading(
    value: float | None = None, age: Age = Age.GONE, quality: Quality = Quality.GOOD, source: str = "poll engine 01 5C"
) -> Reading:
    return Reading(SIGNAL, value, value, "°C", 0, age, None if value is None else 0.2, quality, source)


def facts(*sources: Source, on: BusFact | None = None, read: Reading | None = None, **more: object) -> Facts:
    """A live daemon in which all is well but what the test changes."""
    made = Facts(
        signals={SIGNAL: SignalFact(read or reading(), sources)},
        buses={"drive": on or bus()},
        pages=(PageFact("temperatures", "main", True),),
        position=Position.ON,
    )
    return replace(made, **more)  # type: ignore[arg-type]


def asked(how: How = How.WAITING, reason: Reason | None = None, **more: object) -> Asked:
    made = Asked("engine 01 5C", "engine", "drive", wanted=True, told=Told(how, f"engine 01 5C: {how.value}", reason))
    return replace(made, **more)  # type: ignore[arg-type]


def heard(count: int = 50, **drops: float) -> Heard:
    return Heard("drive 0B4", "drive", count, 7.0 if count else None, drops=Drops(**drops))


def refused(reason: Reason) -> Refusal:
    return Refusal(reason, f"drive: {reason.value}, at length")


def closed(reason: Reason) -> BusFact:
    return bus(closed=refused(reason))


CASES: dict[str, tuple[Facts, Cause, Kind | None, str]] = {
    # --- who provides it
    "a name nobody knows": (
        facts(known=False, near="engine.coolant_temperature"),
        Cause.UNKNOWN,
        Kind.SIGNAL,
        "did you mean engine.coolant_temperature",
    ),
    "a name like no other": (facts(known=False), Cause.UNKNOWN, Kind.SIGNAL, "see underdash signals"),
    "nobody provides it": (facts(), Cause.NO_SOURCE, Kind.SIGNAL, "describe it"),
    "a plug-in that was refused": (
        facts(plugins={SIGNAL.partition(".")[0]: "it needs contract 9"}),
        Cause.PLUGIN_REFUSED,
        Kind.SIGNAL,
        "underdash check",
    ),
    "a plug-in that was suspended": (
        facts(Computed("oil", (), suspended="it raised KeyError")),
        Cause.PLUGIN_SUSPENDED,
        Kind.DERIVED,
        "restart",
    ),
    "a request in the protocol of a plug-in that was suspended": (
        facts(asked(How.PARKED, parked=True, owner="oil", suspended="decode of protocol 'code' raised KeyError")),
        Cause.PLUGIN_SUSPENDED,
        Kind.POLL,
        "plug-in oil is suspended: restart",
    ),
    "computed from what nobody provides": (
        facts(Computed("oil", ("fuel.level",))),
        Cause.NO_INPUT,
        Kind.SIGNAL,
        "nobody provides fuel.level",
    ),
    "computed, and nothing comes out": (facts(Computed("oil", ())), Cause.NO_RESULT, Kind.DERIVED, "no result yet"),
    "a wire that is dead": (facts(Wired("line 17")), Cause.STOPPED, Kind.INPUT, "check its wire"),
    "a sensor that is not there": (
        facts(Wired("input oil", absent="no iio device 'ads1015' is there")),
        Cause.INPUT_ABSENT,
        Kind.INPUT,
        "check its wire",
    ),
    "a sender whose wire is broken": (
        facts(Wired("input oil", 7.0, beyond="it measures 3.29 V, outside its points (0.1 to 3.1 V)")),
        Cause.SENDER,
        Kind.INPUT,
        "out of range",
    ),
    # --- the bus
    "a bus that is not connected": (
        facts(heard(), on=bus(connected=False)),
        Cause.NOT_CONNECTED,
        Kind.BUS,
        "add [bus.drive]",
    ),
    "a bus that the configuration forgot": (facts(heard(), buses={}), Cause.NOT_CONNECTED, Kind.BUS, "add [bus.drive]"),
    "a bus that is absent": (
        facts(heard(), on=bus(BusState.ABSENT, failure="no such device")),
        Cause.BUS_ABSENT,
        Kind.BUS,
        "plug its adapter in",
    ),
    "a bus that is absent, and a request that is never sent": (
        facts(asked(never=refused(Reason.MAKER_PERMISSION)), on=bus(BusState.ABSENT, failure="no such device")),
        Cause.BUS_ABSENT,
        Kind.BUS,
        "plug its adapter in",
    ),
    "a bus that is off": (facts(heard(), on=bus(BusState.BUS_OFF)), Cause.BUS_OFF, Kind.BUS, "check rate"),
    "a bus that is silent": (facts(heard(), on=bus(BusState.SILENT)), Cause.BUS_SILENT, Kind.BUS, "wake the car"),
    "a bus of errors only": (
        facts(heard(), on=bus(BusState.SILENT, errors=90)),
        Cause.WRONG_RATE,
        Kind.BUS,
        "check rate",
    ),
    "a bus of errors only at the described rate": (
        facts(heard(), on=bus(BusState.SILENT, errors=90, hint="perhaps its oscillator is another one")),
        Cause.WRONG_RATE,
        Kind.BUS,
        "check oscillator and wires",
    ),
    "a bus that takes nothing": (facts(asked(), on=bus(BusState.BLOCKED)), Cause.BLOCKED, Kind.BUS, "check the wires"),
    # --- a frame
    "a frame never heard": (facts(heard(0)), Cause.NEVER_HEARD, Kind.FRAME, "check id and variant"),
    "a frame never heard in another car": (
        facts(heard(0), differs="3E8 is longer"),
        Cause.WRONG_CAR,
        Kind.FRAME,
        "choose its description",
    ),
    "a frame not heard any more": (facts(heard()), Cause.STOPPED, Kind.FRAME, "not heard any more"),
    "a checksum that fails": (facts(heard(checksum=0.1)), Cause.CHECKSUM, Kind.FRAME, "wrong checksum"),
    "a counter that stands": (facts(heard(repeated=0.1)), Cause.COUNTER, Kind.FRAME, "counter stands still"),
    "a frame that is too short": (facts(heard(0, short=0.1)), Cause.FRAME_SHORT, Kind.FRAME, "too short"),
    "a value marked as not available": (facts(heard(unavailable=0.1)), Cause.UNAVAILABLE, Kind.FRAME, "not available"),
    "a broadcast value out of range": (
        facts(heard(implausible=0.1)),
        Cause.IMPLAUSIBLE,
        Kind.FRAME,
        "correct its scale",
    ),
    "a frame that is late": (facts(heard(), read=reading(90.0, Age.LATE)), Cause.LATE, Kind.FRAME, "late"),
    # --- the guard
    "quiet": (facts(asked(), on=closed(Reason.QUIET)), Cause.QUIET, Kind.GUARD, "underdash quiet off"),
    "sending is off": (
        facts(asked(), on=closed(Reason.TRANSMIT_OFF)),
        Cause.TRANSMIT_OFF,
        Kind.GUARD,
        "transmit = true",
    ),
    "a recorded drive": (
        facts(asked(), on=replace(closed(Reason.RECORDED), recorded=True)),
        Cause.RECORDED,
        Kind.GUARD,
        "nothing is asked there",
    ),
    "a recorded drive that has ended": (
        facts(asked(), on=replace(bus(BusState.ABSENT), recorded=True)),
        Cause.BUS_ABSENT,
        Kind.BUS,
        "start the daemon again",
    ),
    "a rate that is not proven": (
        facts(asked(), on=closed(Reason.UNPROVEN)),
        Cause.UNPROVEN,
        Kind.GUARD,
        "switch the ignition on",
    ),
    "an interface that listens only": (
        facts(asked(), on=closed(Reason.LISTENS)),
        Cause.LISTENS,
        Kind.GUARD,
        "drive only listens: let its interface take part",
    ),
    "ignition off": (
        facts(asked(), on=closed(Reason.IGNITION), position=Position.OFF),
        Cause.IGNITION_OFF,
        Kind.GUARD,
        "switch it on",
    ),
    "ignition unknown": (
        facts(asked(), on=closed(Reason.IGNITION), position=Position.UNKNOWN),
        Cause.IGNITION_UNKNOWN,
        Kind.GUARD,
        "is its bus alive",
    ),
    "the starter turns": (
        facts(asked(), on=closed(Reason.IGNITION), position=Position.START),
        Cause.STARTING,
        Kind.GUARD,
        "wait",
    ),
    "just started": (facts(asked(), on=closed(Reason.IGNITION)), Cause.STARTING, Kind.GUARD, "wait"),
    "ignition not proven": (
        facts(asked(), on=closed(Reason.IGNITION_UNSEEN)),
        Cause.IGNITION_UNSEEN,
        Kind.GUARD,
        "key on and off",
    ),
    "another car": (facts(asked(), on=closed(Reason.WRONG_CAR)), Cause.WRONG_CAR, Kind.GUARD, "choose its description"),
    "a car not recognised yet": (
        facts(asked(), on=closed(Reason.WRONG_CAR), recognising=True),
        Cause.RECOGNISING,
        Kind.GUARD,
        "wait",
    ),
    "another tester": (
        facts(asked(How.HELD, Reason.OTHER_TESTER)),
        Cause.OTHER_TESTER,
        Kind.GUARD,
        "unplug it",
    ),
    "a cap": (
        facts(asked(How.HELD, Reason.RATE)),
        Cause.CAPPED,
        Kind.GUARD,
        "too many requests",
    ),
    "a limit that is used up": (facts(asked(), capped=True), Cause.CAPPED, Kind.GUARD, "too many requests"),
    "a cap in the middle of an answer": (
        facts(asked(How.FLOW_HELD, Reason.LOAD)),
        Cause.CAPPED,
        Kind.GUARD,
        "too many requests",
    ),
    "flow control that is held back": (
        facts(asked(How.FLOW_HELD, Reason.NO_ANSWER_DUE)),
        Cause.FLOW_HELD,
        Kind.GUARD,
        "long answer is held up",
    ),
    "flow control that could be read as a denied service, found out on the way": (
        facts(asked(How.FLOW_HELD, Reason.LOOKS_LIKE)),
        Cause.FLOW_HELD,
        Kind.GUARD,
        "change block_size or st_min_ms",
    ),
    "flow control that could be read as a denied service, known from the start": (
        facts(asked(flow=refused(Reason.LOOKS_LIKE)), polling=False),
        Cause.FLOW_HELD,
        Kind.GUARD,
        "change block_size or st_min_ms",
    ),
    "a frame still on its way": (
        facts(asked(How.HELD, Reason.UNCONFIRMED)),
        Cause.WAITING,
        Kind.GUARD,
        "waits for its turn",
    ),
    "a command nobody permitted": (
        facts(asked(never=refused(Reason.MAKER_PERMISSION))),
        Cause.MAKER_PERMISSION,
        Kind.GUARD,
        "[reads]",
    ),
    "a command nobody saw read": (
        facts(asked(never=refused(Reason.MAKER_EVIDENCE))),
        Cause.MAKER_EVIDENCE,
        Kind.GUARD,
        "record a tester",
    ),
    "looks like a denied service": (
        facts(asked(never=refused(Reason.LOOKS_LIKE))),
        Cause.LOOKS_LIKE,
        Kind.GUARD,
        "misread",
    ),
    "a service that writes": (
        facts(asked(never=refused(Reason.SERVICE))),
        Cause.NOT_A_READ,
        Kind.GUARD,
        "does not only read",
    ),
    "an id that is taken": (
        facts(asked(never=refused(Reason.ID_IN_USE))),
        Cause.ID_IN_USE,
        Kind.GUARD,
        "correct request_id",
    ),
    # --- a request
    "parked": (
        facts(asked(How.PARKED, parked=True)),
        Cause.UNSUPPORTED,
        Kind.POLL,
        "engine does not give it",
    ),
    "a unit that is silent": (
        facts(asked(How.SILENT)),
        Cause.UNIT_SILENT,
        Kind.POLL,
        "does not answer",
    ),
    "pending": (
        facts(asked(How.PENDING)),
        Cause.PENDING,
        Kind.POLL,
        "still works on it",
    ),
    "pending without an end": (facts(asked(How.ENDLESS)), Cause.ENDLESS, Kind.POLL, "never gets done"),
    "something unreadable": (facts(asked(How.UNREADABLE)), Cause.UNREADABLE, Kind.POLL, "no whole answer"),
    "an answer that breaks off": (facts(asked(How.BROKEN)), Cause.ANSWER_BROKEN, Kind.POLL, "breaks off"),
    "busy": (facts(asked(How.BUSY)), Cause.BUSY, Kind.POLL, "busy"),
    "conditions": (
        facts(asked(How.DECLINED)),
        Cause.CONDITIONS,
        Kind.POLL,
        "declines",
    ),
    "an answer that is too short": (
        facts(asked(How.SHORT)),
        Cause.ANSWER_SHORT,
        Kind.POLL,
        "too short",
    ),
    "an answer that a plug-in's protocol cannot read": (
        facts(asked(How.MISTAKEN)),
        Cause.PROTOCOL_FAILS,
        Kind.POLL,
        "is not read",
    ),
    "an answer without the value": (
        facts(asked(How.ANSWERED, answered_s=0.1)),
        Cause.ANSWER_EMPTY,
        Kind.POLL,
        "has no value",
    ),
    "an answer out of range": (
        facts(asked(How.ANSWERED, answered_s=0.1, drops=Drops(implausible=0.1))),
        Cause.IMPLAUSIBLE,
        Kind.POLL,
        "correct its scale",
    ),
    "an answer that is late": (
        facts(asked(How.ANSWERED, answered_s=2.1), read=reading(90.0, Age.LATE)),
        Cause.LATE,
        Kind.POLL,
        "late",
    ),
    "an answer long ago": (
        facts(asked(How.ANSWERED, answered_s=9.1, count=4, old_s=9.1)),
        Cause.LATE,
        Kind.POLL,
        "late",
    ),
    "a request that waits": (facts(asked()), Cause.WAITING, Kind.POLL, "waits for its turn"),
    "nobody wants it": (
        facts(asked(How.UNWANTED, wanted=False), pages=()),
        Cause.UNWANTED,
        Kind.POLL,
        "deck",
    ),
    "parked car": (
        facts(asked(How.UNWANTED, wanted=False), polling=False),
        Cause.ASLEEP,
        Kind.POLL,
        "switch the ignition on",
    ),
    "somebody who asks by hand": (
        facts(asked(How.UNWANTED, wanted=False), paused=True),
        Cause.BY_HAND,
        Kind.POLL,
        "wait until they end",
    ),
    # --- the page, and all is well
    "a page that was taken off": (
        facts(asked(), read=reading(90.0, Age.FRESH), pages=(PageFact("oil", "main", off="it raised KeyError"),)),
        Cause.PAGE_OFF,
        Kind.PAGE,
        "page oil is off",
    ),
    "all is well": (facts(asked(), read=reading(90.0, Age.FRESH)), Cause.FINE, None, "it is fine"),
    "a reference that is assumed": (
        facts(
            Computed("boost", ("ambient.pressure",)), read=reading(9.0, Age.FRESH, Quality.ASSUMED, "derived by boost")
        ),
        Cause.ASSUMED,
        Kind.DERIVED,
        "reference assumed",
    ),
    "a reference that is old": (
        facts(Computed("boost", ()), read=reading(9.0, Age.FRESH, Quality.DATED, "derived by boost")),
        Cause.DATED,
        Kind.DERIVED,
        "reference old",
    ),
    # --- without a daemon
    "no daemon": (facts(asked(), on=BusFact("drive"), live=False), Cause.NOT_RUNNING, None, "underdash run"),
    "no daemon, and a frame": (
        facts(heard(0), on=BusFact("drive"), live=False),
        Cause.NOT_RUNNING,
        None,
        "underdash run",
    ),
    "no daemon and a recorded drive": (
        facts(asked(), on=BusFact("drive", transmit=False, recorded=True), live=False),
        Cause.RECORDED,
        Kind.GUARD,
        "drive is a recording",
    ),
    "no daemon and sending off": (
        facts(asked(), on=BusFact("drive", transmit=False), live=False),
        Cause.TRANSMIT_OFF,
        Kind.GUARD,
        "transmit = true",
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_the_broken_link_is_named_with_its_remedy(case: str) -> None:
    given, cause, kind, says = CASES[case]
    chain = why(SIGNAL, given)
    assert chain.fault.cause is cause
    assert (chain.broken.kind if chain.broken else None) is kind
    assert says in chain.sentence
    assert [link.state for link in chain.links].count(State.BROKEN) == (kind is not None)


@pytest.mark.parametrize("case", CASES)
def test_the_sentence_is_short_enough_for_a_panel_and_the_lines_tell_the_same(case: str) -> None:
    chain = why(SIGNAL, CASES[case][0])
    assert len(chain.sentence) <= PANEL_CHARACTERS
    assert "\n" not in chain.sentence
    lines = chain.lines()
    assert lines[0].startswith(SIGNAL)
    assert chain.sentence in lines[1]
    assert len(lines) >= 2 + len(chain.links)


@pytest.mark.parametrize("case", CASES)
def test_a_chain_survives_its_way_through_the_socket(case: str) -> None:
    chain = why(SIGNAL, CASES[case][0])
    assert Chain.of(chain.table()) == chain


def test_every_cause_has_a_case() -> None:
    assert {cause for _, cause, _, _ in CASES.values()} == set(Cause)


def test_the_guide_lists_every_cause_with_its_link_and_what_the_panel_says() -> None:
    rows: dict[Cause, str] = {}
    for given, cause, kind, _ in CASES.values():
        link = kind.value if kind is not None else "-"
        rows.setdefault(cause, f"| {cause.value} | {link} | {why(SIGNAL, given).sentence} |")
    table = "\n".join(["| cause | link | the panel says |", "|---|---|---|", *(rows[cause] for cause in Cause)])
    assert table in GUIDE.read_text(), f"DEVELOPERS.md should have:\n\n{table}"


def test_links_run_from_the_page_down_to_the_bus() -> None:
    order = list(Kind)
    for given, *_ in CASES.values():
        kinds = [order.index(link.kind) for link in why(SIGNAL, given).links]
        assert kinds[:1] == [0] or not given.pages or kinds[0] > 0
        assert kinds == sorted(kinds)


def test_above_the_broken_link_all_wait_and_below_it_nothing_is_broken() -> None:
    chain = why(SIGNAL, facts(asked(), on=closed(Reason.QUIET)))
    assert [(link.kind, link.state) for link in chain.links] == [
        (Kind.PAGE, State.OK), (Kind.POLL, State.WAITS), (Kind.GUARD, State.BROKEN), (Kind.BUS, State.OK),
    ]  # fmt: skip


# --- chains of several ------------------------------------------------------------------------------------------


def derived(inputs: Mapping[str, SignalFact], names: tuple[str, ...]) -> Facts:
    made = facts(Computed("oil", names))
    return replace(made, signals={**made.signals, **inputs})


def test_a_computed_value_is_followed_to_the_input_that_is_missing() -> None:
    inputs = {
        "fuel.level": SignalFact(reading(1.0, Age.FRESH), (heard(),)),
        "engine.speed": SignalFact(reading(), (asked(How.SILENT),)),
    }
    chain = why(SIGNAL, derived(inputs, tuple(inputs)))
    assert chain.fault.cause is Cause.UNIT_SILENT
    assert [link.kind for link in chain.links] == [Kind.PAGE, Kind.DERIVED, Kind.POLL, Kind.GUARD, Kind.BUS]
    assert "needs engine.speed" in chain.links[1].text


def test_an_input_that_is_there_but_silent_explains_more_than_one_that_this_car_lacks() -> None:
    inputs = {"engine.speed": SignalFact(reading(), (heard(0),))}
    chain = why(SIGNAL, derived(inputs, ("fuel.level", "engine.speed")))
    assert chain.fault.cause is Cause.NEVER_HEARD


def test_values_computed_in_a_circle_end() -> None:
    inputs = {"engine.speed": SignalFact(reading(), (Computed("oil", (SIGNAL,)),))}
    chain = why(SIGNAL, derived(inputs, ("engine.speed",)))
    assert chain.fault.cause is Cause.NO_RESULT


def test_the_preferred_source_is_explained_and_the_others_are_mentioned() -> None:
    chain = why(SIGNAL, facts(heard(0), asked(How.SILENT)))
    assert chain.fault.cause is Cause.NEVER_HEARD
    assert chain.others == ("engine does not answer: check its ids",)
    assert chain.lines()[-1].startswith("  also: ")


def test_a_bus_that_is_silent_until_asked_is_no_reason_not_to_ask() -> None:
    chain = why(SIGNAL, facts(asked(How.SILENT), on=bus(BusState.SILENT, asked_only=True)))
    assert chain.fault.cause is Cause.UNIT_SILENT


def test_what_happened_long_ago_is_not_what_is_the_matter_now() -> None:
    assert why(SIGNAL, facts(heard(checksum=60.0))).fault.cause is Cause.STOPPED


def test_a_value_that_is_there_is_told_with_its_source_and_age() -> None:
    chain = why(SIGNAL, facts(asked(), read=reading(90.0, Age.FRESH)))
    assert chain.value == "90 °C"
    assert "from poll engine 01 5C, 0.2 s old" in chain.fault.text
    assert all(link.state is State.OK for link in chain.links)


def test_one_page_that_is_off_is_no_matter_while_another_shows_it() -> None:
    pages = (PageFact("oil", "main", off="it raised"), PageFact("temperatures", "main", True))
    assert why(SIGNAL, facts(asked(), read=reading(90.0, Age.FRESH), pages=pages)).fault.cause is Cause.FINE


def test_a_missing_value_comes_before_a_missing_page() -> None:
    pages = (PageFact("oil", "main", off="it raised"),)
    chain = why(SIGNAL, facts(heard(0), pages=pages))
    assert chain.fault.cause is Cause.NEVER_HEARD
    assert chain.links[0].state is State.WAITS


def test_the_worst_of_several_is_what_costs_most_values() -> None:
    chains = [why(SIGNAL, CASES[case][0]) for case in ("all is well", "a unit that is silent", "a bus that is absent")]
    assert worst(chains) is chains[2]
    assert worst([]) is None


@pytest.mark.parametrize("table", [{}, {"signal": "x"}, {**why(SIGNAL, facts()).table(), "cause": "bad luck"}])
def test_a_table_that_is_no_chain_is_refused(table: dict[str, object]) -> None:
    with pytest.raises((KeyError, ValueError, TypeError)):
        Chain.of(table)
