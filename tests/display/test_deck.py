from __future__ import annotations

import pytest

from underdash.contract.errors import UnderdashError
from underdash.contract.pages import Page
from underdash.contract.signals import Snapshot
from underdash.display.deck import Deck, UnknownPageError, find
from underdash.display.recorder import record


def page(name: str, *needs: str) -> Page:
    return Page(name, name.title(), lambda canvas, snapshot: None, needs, period_s=0.5)


@pytest.fixture
def deck() -> Deck:
    return Deck([page("boost", "engine.boost_pressure"), page("temperatures"), page("battery")])


def test_pages_turn_round_and_round(deck: Deck) -> None:
    assert [deck.current.name] + [deck.turn().name for _ in range(3)] == ["boost", "temperatures", "battery", "boost"]
    assert deck.turn(-1).name == "battery"


def test_a_page_can_be_shown_by_name(deck: Deck) -> None:
    assert deck.show("battery").name == deck.current.name == "battery"


def test_the_order_is_the_owners() -> None:
    pages = [page("a"), page("b"), page("c")]
    assert Deck(pages, ["c", "a"]).names == ["c", "a"]


def test_an_unknown_page_is_told_with_the_nearest_name(deck: Deck) -> None:
    with pytest.raises(UnknownPageError, match=r"no page 'bost'.*battery, boost, temperatures.*mean 'boost'"):
        deck.show("bost")
    with pytest.raises(UnknownPageError, match="panel main: deck"):
        Deck([page("boost")], ["tempratures"], where="panel main: deck")
    with pytest.raises(UnknownPageError, match="pages are: none"):
        find([], "boost", "page")


def test_two_pages_of_one_name_are_refused() -> None:
    with pytest.raises(UnderdashError, match="brought twice"):
        Deck([page("boost"), page("boost")])


@pytest.mark.parametrize(
    ("shown", "failed", "left"),
    [
        ("boost", "boost", "temperatures"),
        ("battery", "boost", "battery"),
        ("battery", "battery", "temperatures"),
        ("temperatures", "battery", "temperatures"),
    ],
)
def test_a_page_that_failed_is_taken_off_and_named(deck: Deck, shown: str, failed: str, left: str) -> None:
    deck.show(shown)
    deck.take_off(failed, "it raised ValueError: no")
    assert deck.current.name == left
    assert failed not in deck.names
    assert deck.notes() == (f"{failed} off: it raised ValueError: no",)
    with pytest.raises(UnknownPageError, match="taken off: it raised"):
        deck.show(failed)


def test_a_deck_without_pages_says_what_to_do(deck: Deck) -> None:
    for name in deck.names:
        deck.take_off(name, "it raised")
    deck.take_off("never there", "ignored")
    assert deck.turn().name == "no_pages"
    picture = record(deck.current, Snapshot(0.0, {}), (240, 240))
    assert picture.remark is not None
    assert "underdash check" in picture.remark.text


def test_a_spare_page_is_shown_by_name_and_left_by_turning() -> None:
    deck = Deck([page("boost"), page("values")], spare=page("status"))
    assert deck.names == ["boost", "values"]
    assert deck.turn().name == "values"
    assert deck.show("status").name == "status"
    assert deck.turn().name == "values"
    assert deck.show("status").name == "status"
    assert deck.show("boost").name == "boost"


def test_a_spare_page_stands_in_where_nothing_else_can_be_shown() -> None:
    deck = Deck([page("boost")], spare=page("status"))
    deck.take_off("boost", "it raised")
    assert deck.current.name == "status"


def test_a_spare_page_can_be_put_into_the_deck() -> None:
    deck = Deck([page("boost")], ["status", "boost"], spare=page("status"))
    assert [deck.current.name, deck.turn().name, deck.show("status").name] == ["status", "boost", "status"]
    assert deck.turn().name == "boost"


def test_whether_a_page_can_be_shown_is_told_without_showing_it() -> None:
    deck = Deck([page("boost"), page("values")], spare=page("status"))
    deck.take_off("values", "it raised")
    deck.check("status")
    deck.check("boost")
    with pytest.raises(UnknownPageError, match="was taken off: it raised"):
        deck.check("values")
    with pytest.raises(UnknownPageError, match="Did you mean 'boost'"):
        deck.check("bost")
    assert deck.current.name == "boost"


def test_a_page_put_up_goes_and_the_one_under_it_comes_back(deck: Deck) -> None:
    assert deck.put_up("battery")
    assert deck.current.name == "battery"
    assert deck.take_down()
    assert deck.current.name == "boost"
    assert not deck.take_down()


def test_a_page_put_up_stays_once_somebody_turned(deck: Deck) -> None:
    deck.put_up("battery")
    deck.turn(-1)
    assert not deck.take_down()
    assert deck.current.name == "temperatures"
    deck.put_up("battery")
    deck.show("battery")
    assert not deck.take_down()
    assert deck.current.name == "battery"


def test_only_another_page_of_the_deck_can_be_put_up(deck: Deck) -> None:
    assert not deck.put_up("boost")
    assert not deck.put_up("oil")
    assert deck.current.name == "boost"
    assert not deck.take_down()


def test_a_page_that_failed_meanwhile_does_not_come_back(deck: Deck) -> None:
    deck.put_up("battery")
    deck.take_off("boost", "it raised")
    assert not deck.take_down()
    assert deck.current.name == "battery"


def test_the_status_page_comes_back_from_under_another() -> None:
    deck = Deck([page("boost")], spare=page("status"))
    deck.show("status")
    assert deck.put_up("boost")
    assert deck.take_down()
    assert deck.current.name == "status"


def test_another_deck_goes_on_where_this_one_is() -> None:
    before = Deck([page(name) for name in "abc"], apart=[page("trial")])
    before.show("b")
    before.put_up("c")
    before.take_off("a", "it failed")
    after = Deck([page(name) for name in "abc"])
    after.take_over(before)
    assert (after.current.name, after.names, after.off) == ("c", ["b", "c"], {"a": "it failed"})
    assert after.take_down()
    assert after.current.name == "b"
    before.show("trial")
    gone = Deck([page(name) for name in "abc"])
    gone.take_over(before)
    assert gone.current.name == "c", "the page beneath the one that is no more"
