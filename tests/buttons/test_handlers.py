from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from underdash.buttons.handlers import Bindings, Bound, Outcome
from underdash.contract.buttons import Action, ButtonHandler, Gesture, GestureKind, GoQuiet, TurnPage
from underdash.contract.signals import Snapshot

PRESS, DOUBLE, HOLD, REPEAT = GestureKind
BUTTONS = (("next", ""), ("phone", ""), ("cruise_up", "driving"))
NOW = Snapshot(0.0, {})


def turn(gesture: Gesture, snapshot: Snapshot) -> Sequence[Action]:
    return [TurnPage()]


def bound(
    plugin: str = "page_turn",
    button: str = "next",
    kind: GestureKind = HOLD,
    *,
    on: Callable[[Gesture, Snapshot], Any] = turn,
    hold_s: float = 0.8,
    condition: Callable[[Snapshot], bool] | None = None,
) -> Bound:
    return Bound(plugin, ButtonHandler(button, kind, on, hold_s, condition))


def held(bindings: Bindings, button: str = "next", kind: GestureKind = HOLD) -> Outcome:
    return bindings.call(Gesture(button, kind), NOW)


def test_a_gesture_gives_the_actions_of_its_handler() -> None:
    bindings = Bindings([bound()], BUTTONS)

    assert held(bindings) == Outcome((TurnPage(),), "page_turn")
    assert held(bindings, kind=PRESS) == Outcome()
    assert bindings.mistakes == bindings.warnings == []


@pytest.mark.parametrize("hold_s", [0.0, -1.0, float("nan")])
def test_a_hold_that_takes_no_time_is_a_mistake_in_a_full_sentence(hold_s: float) -> None:
    bindings = Bindings([bound(hold_s=hold_s)], BUTTONS)

    assert bindings.handlers == ()
    assert bindings.mistakes == [
        f"hold of next in plug-in page_turn: hold_s is {hold_s:g}, but a hold must take more than 0 s, or every press "
        "would be one. Write a time such as 0.8."
    ]


def test_the_hold_time_of_a_press_does_not_matter() -> None:
    assert Bindings([bound(kind=PRESS, hold_s=0.0)], BUTTONS).mistakes == []


def test_two_handlers_for_one_gesture_name_both_and_the_first_stays() -> None:
    bindings = Bindings([bound(), bound("other"), bound("third", kind=PRESS)], BUTTONS)

    (mistake,) = bindings.mistakes
    assert "hold of next in plug-in other" in mistake
    assert "hold of next in plug-in page_turn" in mistake
    assert held(bindings).plugin == "page_turn"
    assert held(bindings, kind=PRESS).plugin == "third"


@pytest.mark.parametrize(("first", "second"), [(HOLD, REPEAT), (REPEAT, HOLD)])
def test_hold_and_repeat_of_one_button_cannot_both_be_had(first: GestureKind, second: GestureKind) -> None:
    bindings = Bindings([bound(kind=first), bound("other", kind=second)], BUTTONS)

    assert "cannot both be had" in bindings.mistakes[0]
    assert [handler.kind for handler in bindings.handlers] == [first]


def raises(gesture: Gesture, snapshot: Snapshot) -> Sequence[Action]:
    raise KeyError("oil")


def leaves(gesture: Gesture, snapshot: Snapshot) -> Sequence[Action]:
    raise SystemExit(3)


class UnspeakableError(Exception):
    def __str__(self) -> str:
        raise ValueError("not even that")


def cannot_say(gesture: Gesture, snapshot: Snapshot) -> Sequence[Action]:
    raise UnspeakableError


@pytest.mark.parametrize(
    ("on", "says"),
    [
        (raises, "KeyError: 'oil'"),
        (leaves, "SystemExit: 3"),
        (cannot_say, "UnspeakableError"),
        (lambda gesture, snapshot: None, "TypeError"),
        (lambda gesture, snapshot: ["next page"], "returned 'next page', which is no action"),
        (lambda gesture, snapshot: [GoQuiet("no")], "a GoQuiet: on is 'no' (str), it has to be True or False"),  # type: ignore[arg-type]
        (lambda gesture: [], "TypeError"),
    ],
)
def test_a_handler_that_fails_gives_no_action_and_is_named(on: Callable[..., Any], says: str) -> None:
    outcome = held(Bindings([bound("boost", on=on)], BUTTONS))

    assert outcome.actions == ()
    assert outcome.plugin == "boost"
    assert outcome.error.startswith("hold of next in plug-in boost: ")
    assert says in outcome.error


def test_a_condition_that_does_not_hold_gives_nothing() -> None:
    assert held(Bindings([bound(condition=lambda snapshot: False)], BUTTONS)) == Outcome(plugin="page_turn")
    assert held(Bindings([bound(condition=lambda snapshot: True)], BUTTONS)).actions == (TurnPage(),)


def test_a_condition_that_fails_is_the_plug_ins_too() -> None:
    outcome = held(Bindings([bound(condition=lambda snapshot: bool(1 / 0))], BUTTONS))

    assert outcome.actions == ()
    assert "ZeroDivisionError" in outcome.error


def test_a_button_that_acts_on_driving_is_warned_of_unless_a_condition_guards_it() -> None:
    without = Bindings([bound(button="cruise_up")], BUTTONS)
    guarded = Bindings([bound(button="cruise_up", condition=lambda snapshot: True)], BUTTONS)

    assert len(without.warnings) == 1
    assert "hold of cruise_up in plug-in page_turn: this button acts on driving" in without.warnings[0]
    assert guarded.warnings == []
    assert len(without.handlers) == 1


@pytest.mark.parametrize(
    ("button", "buttons", "says"),
    [
        ("nxt", BUTTONS, "did you mean next?"),
        ("wiper", BUTTONS, "it has next, phone, cruise_up."),
        ("wiper", (), "it has none."),
    ],
)
def test_a_button_the_car_does_not_have_is_warned_of(
    button: str, buttons: tuple[tuple[str, str], ...], says: str
) -> None:
    (warning,) = Bindings([bound(button=button)], buttons).warnings

    assert f"no button {button}" in warning
    assert says in warning


def test_the_handlers_of_a_suspended_plug_in_can_be_taken_away() -> None:
    bindings = Bindings([bound(), bound("boost", kind=PRESS)], BUTTONS)
    bindings.drop("boost")

    assert held(bindings, kind=PRESS) == Outcome()
    assert held(bindings).actions
