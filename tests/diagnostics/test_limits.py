from __future__ import annotations

import json

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from underdash.diagnostics.limits import Limit


def test_a_refusal_of_several_halves_the_number_until_one_goes_alone() -> None:
    limit = Limit(12)
    rooms = []
    while limit.room > 1:
        limit.refused(limit.room)
        rooms.append(limit.room)
    assert rooms == [6, 3, 1]


def test_one_identifier_that_is_refused_alone_was_at_fault_and_not_the_number() -> None:
    limit = Limit(12)
    limit.refused(12)
    limit.refused(6)
    limit.one_was_at_fault()
    assert limit.room == 12


def test_silence_counts_only_if_one_alone_is_answered_right_after_it_twice() -> None:
    limit = Limit(6)
    limit.unanswered(6)
    assert limit.room == 1, "one alone shows whether the unit lives"
    assert not limit.answered(1)
    assert limit.room == 6, "once may be chance"
    limit.unanswered(6)
    assert limit.answered(1)
    assert limit.room == 3


def test_a_unit_that_is_asleep_teaches_nothing() -> None:
    limit = Limit(6)
    for _ in range(20):
        limit.unanswered(6)
        limit.unanswered(1)
    assert limit.room == 6


def test_an_answered_request_for_as_many_takes_the_doubt_away() -> None:
    limit = Limit(6)
    for _ in range(10):
        limit.unanswered(6)
        limit.answered(1)
        limit.answered(6)
    assert limit.room == 6


def test_a_refusal_for_the_moment_counts_like_silence_unless_one_alone_is_refused_too() -> None:
    limit = Limit(6)
    for _ in range(10):
        limit.not_now(6)
        assert limit.room == 1
        limit.answered(1)
        limit.not_now(1)
    assert limit.room == 6
    limit.not_now(6)
    limit.answered(1)
    limit.not_now(6)
    assert limit.answered(1)
    assert limit.room == 3


def test_what_is_learned_survives_as_plain_data() -> None:
    limit = Limit(12)
    limit.refused(12)
    limit.alone.add(0x1234)
    limit.sizes[0xF190] = 17
    data = json.loads(json.dumps(limit.learned()))
    again = Limit(12)
    again.restore(data)
    assert (again.most, again.alone, again.sizes) == (6, {0x1234}, {0xF190: 17})
    assert Limit(12).learned() == {}


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(
    st.dictionaries(
        st.sampled_from(["most", "alone", "sizes"]),
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.text(max_size=5),
            lambda x: st.lists(x, max_size=3) | st.dictionaries(st.text(max_size=5), x, max_size=3),
            max_leaves=8,
        ),
    )
)
def test_data_that_makes_no_sense_is_left_out(data: dict[str, object]) -> None:
    limit = Limit(6)
    limit.restore(data)
    assert 1 <= limit.most <= 6
    assert all(isinstance(size, int) and size >= 0 for size in limit.sizes.values())


@given(
    st.lists(st.tuples(st.sampled_from(["refused", "unanswered", "answered", "misfit", "fault"]), st.integers(1, 12)))
)
def test_whatever_happens_between_one_and_the_most_are_asked_for(moves: list[tuple[str, int]]) -> None:
    limit = Limit(12)
    for name, count in moves:
        if name == "fault":
            limit.one_was_at_fault()
        else:
            getattr(limit, name)(count)
        assert 1 <= limit.room <= 12
