"""A panel with its pages."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import inf

import pytest

from underdash.contract.pages import Canvas, Page
from underdash.contract.signals import Snapshot
from underdash.display.deck import Deck, UnknownPageError
from underdash.display.dimming import DimmingOptions
from underdash.display.panels.picture import PicturePanel
from underdash.display.renderer import Fault
from underdash.pace import PacedLoop, paced_loop
from underdash.testing import snapshot
from underdash.wiring.screen import Look, Screen

Draw = Callable[[Canvas, Snapshot], None]


def title(text: str) -> Draw:
    return lambda canvas, seen: canvas.title(text)


def broken(canvas: Canvas, seen: Snapshot) -> None:
    raise RuntimeError("it broke")


class Parts:
    def __init__(self, loop: PacedLoop, pages: list[Page]) -> None:
        self.loop = loop
        self.panel = PicturePanel()
        self.turned = 0
        look = Look(DimmingOptions())
        self.screen = Screen("main", self.panel, Deck(pages), look, loop=loop, turned=self._turned)
        self.screen.start()

    def update(self, seen: Snapshot, *, lit: bool = True) -> None:
        self.screen.update(seen, None, seen.now, lit=lit)
        assert self.screen.settled(10.0)

    def turns_of_the_loop(self) -> None:
        self.loop.call_later(0.1, self.loop.stop)
        self.loop.run_forever()

    def _turned(self) -> None:
        self.turned += 1


@pytest.fixture
def make() -> Iterator[Callable[..., Parts]]:
    loop = paced_loop(inf)
    made: list[Parts] = []

    def parts(*pages: Page) -> Parts:
        made.append(Parts(loop, list(pages)))
        return made[-1]

    yield parts
    for one in made:
        one.screen.stop()
    loop.close()


ONE, TWO = Page("one", "One", title("one"), ("engine.speed",)), Page("two", "Two", title("two"), ("vehicle.speed",))


def test_the_page_on_show_is_drawn_and_turning_draws_the_next(make: Callable[..., Parts]) -> None:
    parts = make(ONE, TWO)
    parts.update(snapshot({}))
    first = parts.panel.seen()
    assert [page.name for page in (parts.screen.pages()[0], *parts.screen.pages()[1])] == ["one", "two"]
    parts.screen.turn(1)
    parts.update(snapshot({}, now=1000.1))
    assert parts.panel.seen() != first
    assert parts.turned == 1
    assert parts.screen.pages()[0].name == "two"
    parts.screen.show("one")
    assert (parts.turned, parts.screen.deck.current.name) == (2, "one")
    with pytest.raises(UnknownPageError):
        parts.screen.show("three")


def test_a_panel_that_is_not_lit_is_dark(make: Callable[..., Parts]) -> None:
    parts = make(ONE)
    for now in (1000.0, 1001.0, 1002.0):
        parts.update(snapshot({}, now=now))
    assert parts.panel.level > 0
    parts.update(snapshot({}, now=1003.0), lit=False)
    assert parts.panel.level == 0


def test_night_takes_the_colours_of_the_night(make: Callable[..., Parts]) -> None:
    parts = make(ONE)
    parts.update(snapshot({"dashboard.night": False}))
    day = parts.panel.seen()
    parts.update(snapshot({"dashboard.night": True}, now=1010.0))
    parts.update(snapshot({"dashboard.night": True}, now=1020.0))
    assert parts.screen.dimmed.night
    assert parts.panel.seen() != day


def test_a_page_that_raises_is_taken_off_and_the_next_is_asked_for(make: Callable[..., Parts]) -> None:
    parts = make(Page("bad", "Bad", broken, ()), TWO)
    parts.update(snapshot({}))
    parts.turns_of_the_loop()
    assert parts.screen.deck.names == ["two"]
    assert parts.turned == 1
    assert parts.screen.faults == ["page 'bad' was taken off: it raised RuntimeError: it broke"]
    parts.update(snapshot({}, now=1000.1))
    assert parts.panel.frames == 1


def test_a_panel_that_fails_is_named_and_told_once_however_often_it_does(
    make: Callable[..., Parts],
) -> None:
    parts = make(ONE)
    for number in range(5):
        parts.screen._faulty(Fault(None, "the panel does not take images: the plug is loose", off=False))
        parts.screen._faulty(Fault("one", f"page 'one' takes {number % 2} ms", off=False))
    parts.turns_of_the_loop()
    assert parts.screen.faults == [
        "page 'one' takes 1 ms",
        "panel main: the panel does not take images: the plug is loose",
        "page 'one' takes 0 ms",
    ]


def test_the_last_page_being_taken_off_leaves_a_word(make: Callable[..., Parts]) -> None:
    parts = make(Page("bad", "Bad", broken, ()))
    parts.update(snapshot({}))
    parts.turns_of_the_loop()
    parts.update(snapshot({}, now=1000.1))
    assert parts.screen.deck.current.name == "no_pages"
    assert parts.panel.frames == 1


def test_a_panel_that_cannot_be_closed_is_no_error(make: Callable[..., Parts], monkeypatch: pytest.MonkeyPatch) -> None:
    parts = make(ONE)

    def close() -> None:
        raise OSError("it is gone")

    monkeypatch.setattr(parts.panel, "close", close)
    parts.screen.stop()
