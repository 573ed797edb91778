from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from underdash.service.repeats import Repeats


def test_the_same_may_be_said_some_times_a_minute_and_then_how_often_it_was_kept_back() -> None:
    repeats = Repeats(most=3, window_s=60.0)
    assert [repeats.may("dark", float(at)) for at in range(5)] == [True, True, True, False, False]
    assert list(repeats.over(59.9)) == []
    assert list(repeats.over(60.0)) == [("dark", 2)]
    assert list(repeats.over(60.0)) == []
    assert repeats.may("dark", 60.0)


def test_one_thing_keeps_no_other_back() -> None:
    repeats = Repeats(most=1)
    assert repeats.may(("bus", "drive"), 0.0)
    assert not repeats.may(("bus", "drive"), 1.0)
    assert repeats.may(("bus", "comfort"), 1.0)


def test_what_was_never_kept_back_is_not_reported() -> None:
    repeats = Repeats(most=2)
    repeats.may("started", 0.0)
    assert list(repeats.over(1000.0)) == []


@given(st.lists(st.tuples(st.sampled_from("abc"), st.floats(0.0, 40.0)), max_size=60))
def test_nothing_is_lost_uncounted(said: list[tuple[str, float]]) -> None:
    repeats, now, let, reported = Repeats(most=2, window_s=60.0), 0.0, 0, 0
    for what, later in said:
        now += later
        reported += sum(count for _, count in repeats.over(now))
        let += repeats.may(what, now)
    # a little more than the window, since now + 60 less now may be less than 60
    reported += sum(count for _, count in repeats.over(now + 60.5))
    assert let + reported == len(said)
