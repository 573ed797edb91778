"""Actions, alerts with their pages, and what is said over a page."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any, cast

import pytest

from underdash.collecting import Contributions
from underdash.contract.buttons import Acknowledge, ResetPeak, ShowPage, ShowRate, TurnPage
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.pages import Alert, Page, Role
from underdash.contract.words import Words
from underdash.display.deck import Deck
from underdash.display.dimming import DimmingOptions
from underdash.display.panels.picture import PicturePanel
from underdash.loading import load
from underdash.pace import paced_loop
from underdash.testing import snapshot
from underdash.wiring.acting import RATE_S, SAID_S, Acting
from underdash.wiring.assembly import assemble
from underdash.wiring.screen import Look, Screen

FRAME = BroadcastListener("drive", 0x100, (Field("engine.speed", Bits(0)),), period_s=0.1)
CAR = CarDescription("small", "Small", (BusDescription("drive", 500_000),), broadcasts=(FRAME,))
ICE = Alert("ice", "ambient.temperature", "ice", below=3.0, page="air")
HOT = Alert("hot", "engine.oil_temperature", "oil hot", above=130.0, role=Role.WARNING)
PAGES = [Page(name, name, lambda canvas, seen: None, ("engine.speed",), period_s=0.1) for name in ("one", "two", "air")]


class Marks:
    def __init__(self) -> None:
        self.marks: list[tuple[str, float]] = []

    def mark(self, text: str, at: float) -> None:
        self.marks.append((text, at))


class Parts:
    """Two panels, of which only the first has the alert's page."""

    def __init__(self) -> None:
        self.loop = paced_loop()
        self.assembly = assemble(CAR, load({}))
        self.assembly.brought = Contributions(alerts=(("p", ICE), ("p", HOT)))
        self.recorder = Marks()
        self.screens = [self._screen("main", PAGES), self._screen("second", PAGES[:2])]
        daemon = SimpleNamespace(assembly=self.assembly, screens=self.screens, recorder=self.recorder)
        self.acting = Acting(cast(Any, daemon))
        self.now = 100.0

    def _screen(self, name: str, pages: list[Page]) -> Screen:
        look = Look(DimmingOptions())
        return Screen(name, PicturePanel(), Deck(pages), look, loop=self.loop, turned=lambda: None)

    def look(self, air: float, oil: float = 90.0) -> list[str]:
        self.now += 1.0
        values = {"ambient.temperature": air, "engine.oil_temperature": oil}
        self.acting.look(snapshot(values, now=self.now), self.now)
        return [screen.deck.current.name for screen in self.screens]


@pytest.fixture
def parts() -> Iterator[Parts]:
    made = Parts()
    yield made
    for screen in made.screens:
        screen.stop()
    made.loop.close()


def test_the_page_of_an_alert_is_put_up_where_the_deck_has_it_and_goes_when_acknowledged(parts: Parts) -> None:
    assert parts.look(20.0) == ["one", "one"]
    assert parts.look(1.0) == ["air", "one"]
    parts.acting.perform(Acknowledge(), parts.now)
    assert parts.look(1.0) == ["one", "one"]
    assert parts.look(0.0) == ["one", "one"]


def test_a_driver_who_turned_away_stays_where_he_is(parts: Parts) -> None:
    parts.look(1.0)
    parts.acting.perform(TurnPage(-1), parts.now)
    assert parts.look(1.0) == ["two", "two"]
    parts.acting.perform(Acknowledge(), parts.now)
    assert parts.look(1.0) == ["two", "two"]


def test_an_alert_that_comes_leaves_a_mark_in_what_is_recorded(parts: Parts) -> None:
    parts.look(20.0)
    parts.look(1.0)
    parts.look(1.0)
    assert parts.recorder.marks == [("alert ice: ice", 102.0)]


def test_an_alert_goes_before_a_sentence_and_that_before_the_rate(parts: Parts) -> None:
    acting = parts.acting
    parts.look(20.0)
    assert acting.words("main", parts.now) is None
    for look in range(11):
        at = parts.now + look * 0.2
        parts.assembly.tables["drive"][0x100](bytes((look,)), at)
        acting.count(at)
    now = parts.now + 2.0
    acting.perform(ShowRate(), now)
    assert acting.words("main", now) == Words("5/s, wanted 10/s", Role.SOFT)
    acting.say("only while standing", now)
    assert acting.words("main", now) == Words("only while standing", Role.SOFT)
    assert acting.words("main", now + SAID_S) == Words("5/s, wanted 10/s", Role.SOFT)
    parts.look(1.0)
    assert acting.words("main", now) == Words("ice", Role.CAUTION)


def test_the_rate_goes_after_ten_seconds_or_when_asked_for_once_more(parts: Parts) -> None:
    acting = parts.acting
    acting.count(100.0)
    acting.perform(ShowRate(), 100.0)
    assert acting.words("main", 100.0 + RATE_S - 0.1) == Words("counting, wanted 10/s", Role.SOFT)
    assert acting.words("main", 100.0 + RATE_S) is None
    acting.perform(ShowRate(), 120.0)
    acting.perform(ShowRate(), 121.0)
    assert acting.words("main", 121.0) is None


def test_actions_reach_what_they_are_for(parts: Parts) -> None:
    parts.acting.perform(ShowPage("air"), 100.0)
    assert [screen.deck.current.name for screen in parts.screens] == ["air", "one"]
    parts.acting.perform(ResetPeak(), 100.0)
    assert parts.assembly.memory.peaks() == {}
