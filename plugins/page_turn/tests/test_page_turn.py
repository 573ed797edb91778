from __future__ import annotations

import pytest

import underdash_page_turn
from underdash import (
    Acknowledge,
    Action,
    CarDescription,
    Gesture,
    GestureKind,
    GoQuiet,
    Mark,
    Refresh,
    ResetPeak,
    SetChoice,
    ShowPage,
    ShowRate,
    Snapshot,
    TurnPage,
)
from underdash.testing import snapshot
from underdash_page_turn.bindings import bindings_for
from underdash_page_turn.settings import Binding, Settings


def car(*buttons: str) -> CarDescription:
    driving = ("cruise_set", "distance")
    return CarDescription("c", "C", (), buttons=tuple((b, "driving" if b in driving else "comfort") for b in buttons))


def bound(description: CarDescription, settings: Settings | None = None) -> dict[str, tuple[Action, ...]]:
    """What each handler does, asked with a gesture of its own."""
    done = {}
    for handler in underdash_page_turn.button_handlers(description, settings or Settings()):
        gesture = Gesture(handler.button, handler.kind, 1.0)
        done[handler.button] = tuple(handler.on(gesture, Snapshot(0.0, {})))
    return done


NEXT, BACK, CLEAR = (TurnPage(1),), (TurnPage(-1),), (Acknowledge(), ResetPeak())


@pytest.mark.parametrize(
    ("buttons", "expected"),
    [
        ((), {}),
        (("cruise_set",), {}),
        (("menu",), {"menu": NEXT}),
        (("left", "right"), {"right": NEXT, "left": CLEAR}),
        (("menu", "up", "down", "cruise_set"), {"up": NEXT, "down": BACK, "menu": CLEAR}),
        (("a", "b", "c", "d"), {"a": NEXT, "b": BACK, "c": CLEAR}),
        (("track_previous", "track_next", "voice"), {"track_next": NEXT, "track_previous": BACK, "voice": CLEAR}),
    ],
)
def test_the_cars_own_buttons_are_bound_by_a_rule(
    buttons: tuple[str, ...], expected: dict[str, tuple[Action, ...]]
) -> None:
    assert bound(car(*buttons)) == expected


def test_the_rule_uses_holds_only() -> None:
    handlers = underdash_page_turn.button_handlers(car("menu", "up"), Settings(hold_s=1.2))
    assert {handler.kind for handler in handlers} == {GestureKind.HOLD}
    assert {handler.hold_s for handler in handlers} == {1.2}


def test_what_the_owner_binds_replaces_the_rule() -> None:
    settings = Settings(
        bindings=(
            Binding(button="up", gesture="double", do=("show boost", "reset peak")),
            Binding(button="cruise_set", hold_s=2.0, do=("previous",)),
        )
    )
    assert bound(car("up", "down", "cruise_set"), settings) == {
        "up": (ShowPage("boost"), ResetPeak()),
        "cruise_set": (TurnPage(-1),),
    }
    assert [b.hold_s for b in bindings_for(car(), settings)] == [0.8, 2.0]


@pytest.mark.parametrize(
    ("wrong", "allowed"),
    [
        ({"button": "up", "do": ("nxt",)}, "not 'nxt'"),
        ({"button": "up", "do": ("show ",)}, "not 'show '"),
        ({"button": "up", "do": ("choose dashboard.night",)}, "choose <signal> = <value>"),
        ({"button": "up", "do": ()}, "at least one thing"),
        ({"button": "button.up", "do": ("next",)}, "without"),
    ],
)
def test_bindings_that_make_no_sense_say_what_is_allowed(wrong: dict[str, object], allowed: str) -> None:
    with pytest.raises(ValueError, match=allowed):
        Binding(**wrong)  # type: ignore[arg-type]


def test_it_says_who_it_is() -> None:
    assert underdash_page_turn.plugin().settings is Settings


@pytest.mark.parametrize(
    ("words", "does"),
    [
        ("next", TurnPage(1)),
        ("previous", TurnPage(-1)),
        ("show boost", ShowPage("boost")),
        ("reset peak", ResetPeak()),
        ("reset peak of engine.speed", ResetPeak("engine.speed")),
        ("acknowledge", Acknowledge()),
        ("mark", Mark()),
        ("mark knocking heard", Mark("knocking heard")),
        ("refresh engine.oil_temperature", Refresh("engine.oil_temperature")),
        ("show rate", ShowRate()),
        ("quiet", GoQuiet(True)),
        ("end quiet", GoQuiet(False)),
        ("choose dashboard.night = on", SetChoice("dashboard.night", True)),
        ("choose dashboard.night=off", SetChoice("dashboard.night", False)),
        ("choose tiny.mode = sport", SetChoice("tiny.mode", "sport")),
    ],
)
def test_every_action_can_be_bound(words: str, does: Action) -> None:
    assert bound(car("up"), Settings(bindings=(Binding(button="up", do=(words,)),))) == {"up": (does,)}


@pytest.mark.parametrize(("speed_kmh", "counts"), [(None, False), (0.0, True), (0.9, True), (3.0, False)])
def test_a_binding_may_count_only_while_the_car_is_known_to_stand(speed_kmh: float | None, counts: bool) -> None:
    settings = Settings(bindings=(Binding(button="cruise_set", do=("next",), standing=True),))
    (one,) = underdash_page_turn.button_handlers(car("cruise_set"), settings)
    assert one.condition is not None
    assert one.condition(snapshot({"vehicle.speed": speed_kmh})) is counts
