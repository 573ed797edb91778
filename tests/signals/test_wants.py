from __future__ import annotations

from underdash.contract.pages import Alert, Canvas, Page
from underdash.contract.signals import Snapshot
from underdash.contract.sources import Derived
from underdash.signals.wants import Want, WantKind, expand, gather


def draw(canvas: Canvas, snapshot: Snapshot) -> None:
    canvas.title("nothing")


def derived(name: str, *inputs: str, period_s: float = 0.04) -> Derived:
    return Derived(name, inputs, lambda state, inputs, dt_s: (state, None), period_s=period_s)


def page(name: str, *needs: str, period_s: float = 0.1) -> Page:
    return Page(name, name, draw, needs, period_s=period_s)


def test_the_page_on_the_panel_wants_its_signals_as_often_as_it_says() -> None:
    assert gather(shown=[page("p", "a", "b")]) == {"a": Want(WantKind.PAGE, 0.1), "b": Want(WantKind.PAGE, 0.1)}


def test_what_a_page_has_kept_for_it_is_asked_for_without_being_named_twice() -> None:
    both = Page("p", "p", draw, ("a",), ("b",), peaks=("a", "c"), histories=(("d", 60.0), ("b", 9.0)))
    assert both.signals == ("a", "b", "c", "d")
    assert set(gather(shown=[both])) == {"a", "b", "c", "d"}


def test_pages_that_are_not_shown_are_patient() -> None:
    assert gather(hidden=[page("p", "a"), page("q", "b", period_s=1.0)]) == {
        "a": Want(WantKind.HIDDEN, 2.0),
        "b": Want(WantKind.HIDDEN, 10.0),
    }


def test_an_alert_wants_its_condition_too() -> None:
    alert = Alert("hot", "gearbox.oil_temperature", "hot", above=125.0, only_while=("engine.running", "on"))
    assert set(gather(alerts=[alert])) == {"gearbox.oil_temperature", "engine.running"}
    assert all(want.kind is WantKind.ALERT for want in gather(alerts=[alert]).values())


def test_two_wishes_for_one_signal_join_to_the_stronger_and_the_shorter() -> None:
    wants = gather(shown=[page("p", "a", period_s=3.0)], recorded=["a"])
    assert wants == {"a": Want(WantKind.PAGE, 1.0)}


def test_a_wish_passes_through_derived_signals_however_deep() -> None:
    chain = [derived("c", "b"), derived("b", "a", "x")]
    wants = expand({"c": Want(WantKind.PAGE, 0.1)}, chain)
    assert wants == dict.fromkeys("cbax", Want(WantKind.PAGE, 0.1))


def test_an_input_is_not_wanted_more_often_than_its_derived_signal_is_computed() -> None:
    wants = expand({"b": Want(WantKind.PAGE, 0.1)}, [derived("b", "a", period_s=5.0)])
    assert wants["a"] == Want(WantKind.PAGE, 5.0)


def test_an_input_wanted_directly_and_through_a_derived_signal_is_wanted_once_and_more() -> None:
    wants = expand({"a": Want(WantKind.HIDDEN, 0.05), "b": Want(WantKind.ALERT, 1.0)}, [derived("b", "a")])
    assert wants["a"] == Want(WantKind.ALERT, 0.05)


def test_all_that_can_give_a_signal_pass_its_wish_on() -> None:
    wants = expand({"boost": Want(WantKind.PAGE, 0.1)}, [derived("boost", "manifold"), derived("boost", "charge")])
    assert {"manifold", "charge"} <= set(wants)


def test_a_circle_ends() -> None:
    wants = expand({"a": Want(WantKind.PAGE, 0.1)}, [derived("a", "b"), derived("b", "a")])
    assert set(wants) == {"a", "b"}


def test_nothing_wanted_asks_for_nothing() -> None:
    assert expand({}, [derived("b", "a")]) == {}


def test_what_a_page_uses_where_it_is_there_is_wanted_like_what_it_needs() -> None:
    using = Page("boost", "Boost", draw, ("a",), uses=("b",), period_s=0.1)
    assert gather(shown=[using])["b"] == gather(shown=[using])["a"] == Want(WantKind.PAGE, 0.1)
    assert gather(hidden=[using])["b"].kind is WantKind.HIDDEN
