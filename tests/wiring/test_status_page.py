"""The core's own page."""

from __future__ import annotations

import pytest

from underdash.bus.health import BusState
from underdash.bus.link import BusStatus
from underdash.contract.pages import Role
from underdash.contract.signals import Snapshot
from underdash.display.recorder import record
from underdash.wiring.chain import Cause, Chain, Fault
from underdash.wiring.status_page import News, StatusPage, news


def chain(cause: Cause, short: str = "something", remedy: str = "do that") -> Chain:
    return Chain("engine.speed", Fault(cause, short, remedy))


def bus(state: BusState = BusState.LISTENING) -> BusStatus:
    return BusStatus("drive", state, 1, 0, 0, 0, 0, 0.1, 0.0, True, False, False, "drive is heard")


FINE = chain(Cause.FINE, "it is fine", "")


def test_it_says_the_worst_and_counts_the_rest() -> None:
    told = news([FINE, chain(Cause.LATE), chain(Cause.BUS_ABSENT, "bus drive is absent")], [bus()], "on", "12/s")
    assert told.sentence == "bus drive is absent: do that"
    assert told.role is Role.CAUTION
    assert [(label, value) for label, value, _ in told.lines] == [
        ("buses", "1 heard"), ("key", "on"), ("requests", "12/s"), ("values", "1/3"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("chains", "fault", "sentence", "role"),
    [
        ([FINE], "", "all is well", Role.INK),
        ([], "", "all is well", Role.INK),
        ([FINE, chain(Cause.IGNITION_OFF, "off", "on")], "", "off: on", Role.INK),
        ([FINE], "a panel does not open", "a panel does not open", Role.CAUTION),
        ([chain(Cause.IGNITION_OFF)], "a panel does not open", "a panel does not open", Role.CAUTION),
        ([chain(Cause.BUS_OFF, "off", "look")], "a panel does not open", "off: look", Role.CAUTION),
        ([chain(Cause.ASSUMED, "reference assumed", "see boost")], "", "all is well", Role.INK),
    ],
)
def test_what_is_ordinary_is_no_alarm(chains: list[Chain], fault: str, sentence: str, role: Role) -> None:
    told = news(chains, [bus()], "on", "3/s", fault)
    assert (told.sentence, told.role) == (sentence, role)


@pytest.mark.parametrize(
    ("buses", "says"),
    [([], "none"), ([bus(), bus(BusState.SENDING)], "2 heard"), ([bus(), bus(BusState.ABSENT)], "1/2 heard")],
)
def test_buses_are_counted_by_whether_they_are_heard(buses: list[BusStatus], says: str) -> None:
    assert news([], buses, "off", "closed").lines[0][1] == says


def test_the_page_draws_what_was_told_last() -> None:
    page = StatusPage()
    assert record(page.page, Snapshot(0.0, {}), (240, 240)).sentence is not None
    page.news = News("bus drive is absent: plug its adapter in", Role.CAUTION, (("key", "on", Role.INK),))
    picture = record(page.page, Snapshot(0.0, {}), (240, 240))
    assert picture.sentence is not None
    assert (picture.sentence.text, picture.sentence.role) == (page.news.sentence, Role.CAUTION)
    assert [(row.label, row.text) for row in picture.rows] == [("key", "on")]
