from __future__ import annotations

from collections.abc import Iterable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.buttons.gestures import GestureOptions, Gestures
from underdash.contract.buttons import ButtonHandler, Gesture, GestureKind

PRESS, DOUBLE, HOLD, REPEAT = GestureKind


def gestures(*kinds: GestureKind, button: str = "next", hold_s: float = 0.8) -> Gestures:
    handlers = [ButtonHandler(button, kind, lambda gesture, snapshot: [], hold_s) for kind in kinds]
    made = Gestures(handlers)
    made.sample(button, False, 0.0)
    return made


def play(
    made: Gestures, presses: Iterable[tuple[float, float]], until: float = 20.0
) -> list[tuple[GestureKind, float]]:
    """Press (from, to), looking every 10 ms; return (kind, time it came out)."""
    edges = sorted((at, down) for start, end in presses for at, down in ((start, True), (end, False)))
    found = []
    for hundredth in range(1001):
        now = hundredth / 100
        while edges and edges[0][0] <= now:
            at, down = edges.pop(0)
            made.sample("next", down, at)
        found += [(gesture.kind, now) for gesture in made.tick(now)]
    return found


@pytest.mark.parametrize(
    ("bound", "presses", "expected"),
    [
        # alone, a press is there at once
        ([PRESS], [(1.0, 1.1)], [(PRESS, 1.0)]),
        ([PRESS], [(1.0, 9.0)], [(PRESS, 1.0)]),
        # beside a hold it waits for the release
        ([PRESS, HOLD], [(1.0, 1.1)], [(PRESS, 1.1)]),
        ([PRESS, HOLD], [(1.0, 1.79)], [(PRESS, 1.79)]),
        ([PRESS, HOLD], [(1.0, 3.0)], [(HOLD, 1.8)]),
        ([PRESS, HOLD], [(1.0, 3.0), (4.0, 4.1)], [(HOLD, 1.8), (PRESS, 4.1)]),
        # beside a double it waits for a second one
        ([PRESS, DOUBLE], [(1.0, 1.1)], [(PRESS, 1.45)]),
        ([PRESS, DOUBLE], [(1.0, 1.1), (1.3, 1.4)], [(DOUBLE, 1.3)]),
        ([PRESS, DOUBLE], [(1.0, 1.1), (1.5, 1.6)], [(PRESS, 1.45), (PRESS, 1.95)]),
        ([PRESS, DOUBLE], [(1.0, 1.1), (1.2, 1.3), (1.4, 1.5)], [(DOUBLE, 1.2), (PRESS, 1.85)]),
        ([PRESS, DOUBLE, HOLD], [(1.0, 1.1), (1.2, 4.0)], [(DOUBLE, 1.2)]),
        ([PRESS, DOUBLE, HOLD], [(1.0, 2.0)], [(HOLD, 1.8)]),
        # what is not bound is not found
        ([HOLD], [(1.0, 1.1)], []),
        ([DOUBLE], [(1.0, 1.1)], []),
        ([HOLD], [(1.0, 1.79), (2.0, 2.79)], []),
        # repeats
        ([REPEAT], [(1.0, 2.0)], [(REPEAT, 1.5), (REPEAT, 1.7), (REPEAT, 1.9)]),
        ([PRESS, REPEAT], [(1.0, 1.6)], [(PRESS, 1.0), (REPEAT, 1.5)]),
        ([PRESS, REPEAT], [(1.0, 1.1)], [(PRESS, 1.0)]),
        ([PRESS, DOUBLE, REPEAT], [(1.0, 1.6)], [(REPEAT, 1.5)]),
    ],
)
def test_a_finger_becomes_gestures(
    bound: list[GestureKind], presses: list[tuple[float, float]], expected: list[tuple[GestureKind, float]]
) -> None:
    found = play(gestures(*bound), presses)

    assert [kind for kind, _ in found] == [kind for kind, _ in expected]
    assert [at for _, at in found] == pytest.approx([at for _, at in expected], abs=0.011)


def test_a_hold_is_found_even_if_nobody_looked_before_the_release() -> None:
    made = gestures(PRESS, HOLD)
    made.sample("next", True, 1.0)
    made.sample("next", False, 3.0)

    assert made.tick(3.0) == [Gesture("next", HOLD, 0.8)]


def test_a_gesture_knows_how_long_it_took() -> None:
    made = gestures(PRESS, HOLD)
    made.sample("next", True, 1.0)
    made.sample("next", False, 1.25)

    assert made.tick(1.25) == [Gesture("next", PRESS, 0.25)]


def test_the_same_state_again_is_no_event() -> None:
    made = gestures(PRESS)
    for hundredth in range(100, 200):
        made.sample("next", True, hundredth / 100)

    assert len(made.tick(2.0)) == 1


def test_buttons_do_not_disturb_each_other() -> None:
    made = Gestures([ButtonHandler(name, PRESS, lambda gesture, snapshot: []) for name in ("up", "down")])
    for name in ("up", "down", "elsewhere"):
        made.sample(name, False, 0.0)
    made.sample("up", True, 1.0)
    made.sample("elsewhere", True, 1.0)
    made.sample("down", True, 1.1)

    assert [gesture.button for gesture in made.tick(1.2)] == ["up", "down"]


# --- the ring -----------------------------------------------------------------------------------------------------


def test_progress_fills_while_a_hold_goes_on_and_empties_when_it_is_done() -> None:
    made = gestures(PRESS, HOLD)
    assert made.progress(0.5) == 0.0
    made.sample("next", True, 1.0)

    assert made.progress(1.0) == 0.0
    assert made.progress(1.4) == pytest.approx(0.5)
    assert made.progress(1.9) == 1.0
    made.tick(1.9)
    assert made.progress(1.95) == 0.0


def test_progress_empties_on_release() -> None:
    made = gestures(HOLD)
    made.sample("next", True, 1.0)
    made.sample("next", False, 1.5)

    assert made.progress(1.5) == 0.0


@pytest.mark.parametrize(
    ("bound", "expected"),
    [([HOLD], 1.8), ([REPEAT], 1.5), ([PRESS], 31.0)],
)
def test_the_next_time_to_look_is_told(bound: list[GestureKind], expected: float) -> None:
    made = gestures(*bound)
    assert made.deadline(0.5) is None
    made.sample("next", True, 1.0)
    made.tick(1.0)

    assert made.deadline(1.0) == pytest.approx(expected)


def test_a_waiting_press_is_a_time_to_look() -> None:
    made = gestures(PRESS, DOUBLE)
    made.sample("next", True, 1.0)
    made.sample("next", False, 1.1)

    assert made.deadline(1.1) == pytest.approx(1.45)
    made.sample("next", True, 1.2)
    assert made.deadline(1.2) == 1.2


# --- loss and stuck -----------------------------------------------------------------------------------------------


def test_loss_cancels_a_hold() -> None:
    made = gestures(PRESS, HOLD)
    made.sample("next", True, 1.0)
    made.lost(1.5)
    made.sample("next", True, 1.6)

    assert made.progress(2.0) == 0.0
    assert made.tick(5.0) == []
    made.sample("next", False, 5.0)
    assert made.tick(6.0) == []


def test_loss_cancels_a_press_that_waits_for_a_second_one() -> None:
    made = gestures(PRESS, DOUBLE)
    made.sample("next", True, 1.0)
    made.sample("next", False, 1.1)
    made.lost(1.2)

    assert made.tick(5.0) == []


def test_loss_of_one_button_leaves_the_others() -> None:
    made = gestures(HOLD)
    made.sample("next", True, 1.0)
    made.lost(1.5, "other")

    assert made.tick(2.0) == [Gesture("next", HOLD, 0.8)]


def test_after_a_loss_the_next_press_counts() -> None:
    made = gestures(PRESS)
    made.lost(1.0)
    made.sample("next", False, 1.1)
    made.sample("next", True, 1.2)

    assert len(made.tick(1.2)) == 1


def test_a_button_that_is_down_when_first_heard_does_nothing() -> None:
    made = Gestures([ButtonHandler("next", kind, lambda gesture, snapshot: []) for kind in (PRESS, HOLD)])
    made.sample("next", True, 1.0)
    made.tick(9.0)
    made.sample("next", False, 9.0)

    assert made.tick(9.0) == []


def test_a_stuck_button_is_reported_and_stops_repeating_until_released() -> None:
    made = gestures(REPEAT)
    made.sample("next", True, 0.0)
    repeats = made.tick(29.99)
    assert list(made.stuck) == []
    repeats += made.tick(1000.0)

    assert list(made.stuck) == ["next"]
    assert len(repeats) == 148
    assert made.deadline(1000.0) is None
    made.sample("next", False, 1001.0)
    assert list(made.stuck) == []


def test_a_button_stuck_since_the_start_is_reported_too() -> None:
    made = Gestures([ButtonHandler("next", PRESS, lambda gesture, snapshot: [])], GestureOptions(stuck_s=5.0))
    made.sample("next", True, 0.0)
    made.tick(5.0)

    assert list(made.stuck) == ["next"]


# --- whatever happens ---------------------------------------------------------------------------------------------


@settings(max_examples=150)
@given(
    st.sets(st.sampled_from([PRESS, DOUBLE, HOLD]), min_size=1),
    st.lists(st.tuples(st.sampled_from(["down", "up", "lost", "tick"]), st.floats(0, 2)), max_size=60),
)
def test_no_more_gestures_than_presses_and_only_bound_ones(
    bound: set[GestureKind], steps: list[tuple[str, float]]
) -> None:
    made = gestures(*bound)
    now, presses, found = 0.0, 0, []
    for what, pause in steps:
        now += pause
        if what == "lost":
            made.lost(now)
        elif what == "tick":
            found += made.tick(now)
        else:
            presses += what == "down"
            made.sample("next", what == "down", now)
        assert 0.0 <= made.progress(now) <= 1.0
    found += made.tick(now + 100)

    assert len(found) <= presses
    assert {gesture.kind for gesture in found} <= bound


def test_a_press_goes_on_where_the_same_is_bound() -> None:
    before, after = gestures(PRESS, HOLD), gestures(PRESS, HOLD)
    before.sample("next", True, 1.0)
    after.take_over(before, ["next"])
    assert after.tick(1.7) == []
    assert [gesture.kind for gesture in after.tick(1.9)] == [HOLD]


def test_a_gesture_that_is_finished_is_not_lost() -> None:
    before, after = gestures(PRESS), gestures(PRESS)
    before.sample("next", True, 1.0)
    after.take_over(before, ["next"])
    assert after.tick(1.1) == [Gesture("next", PRESS, 0.0)]


@pytest.mark.parametrize("bound", [[PRESS], [PRESS, HOLD, DOUBLE]])
def test_where_something_else_is_bound_a_button_has_to_be_released_first(bound: list[GestureKind]) -> None:
    before = gestures(PRESS, HOLD)
    before.sample("next", True, 1.0)
    after = Gestures([ButtonHandler("next", kind, lambda gesture, snapshot: []) for kind in bound])
    after.take_over(before, ["next", "other"])
    after.sample("next", True, 1.1)
    assert after.tick(5.0) == []
    after.sample("next", False, 5.1)
    assert after.tick(6.0) == []
