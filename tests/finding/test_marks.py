from __future__ import annotations

import pytest

from underdash.bus.trace_lacks import half_line
from underdash.contract.errors import GivenError
from underdash.finding.heard import Heard
from underdash.finding.marks import Mark, beside, marks_in, marks_of, parse_marks


def test_marks_are_times_or_intervals_with_a_word() -> None:
    lines = ["# drive of Monday", "", "12.5 menu   # the third", "3..4.25 horn", "+1.5 door left", "+2..+3 lamp"]
    assert parse_marks(lines, "m.txt", 100.0) == (
        Mark(3.0, "horn", 4.25),
        Mark(12.5, "menu"),
        Mark(101.5, "door left"),
        Mark(102.0, "lamp", 103.0),
    )


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("12.5", "no word"),
        ("soon menu", "'soon' is no number"),
        ("12,5 menu", "'12,5' is no number of seconds; write 12.5"),
        ("nan menu", "'nan' is no number"),
        ("inf menu", "'inf' is no number"),
        ("1e308 menu", "'1e308' is no number of seconds"),
        ("+1e12 menu", r"'\+1e12' is no number of seconds"),
        ("1 " + 81 * "x", "a word has up to 80 letters that can be shown"),
        ("1 \x1b[31mred", "a word has up to 80 letters that can be shown"),
        (9999 * "7", f"'{80 * '7'}[.]{{3}}': there is no word"),
        ("3.. menu", "'' is no number"),
        ("4..3 menu", "ends before it begins"),
        ("+3..5 menu", r"only one of both times has a \+"),
        ("14:03:07 menu", "is no number"),
    ],
)
def test_a_line_that_reads_otherwise_is_told_with_its_number(line: str, why: str) -> None:
    with pytest.raises(GivenError, match=f"m.txt, line 2: .*{why}.*SECONDS WORD"):
        parse_marks(["1 menu", line], "m.txt", 0.0)


def heard(begin: float = 1000.0, end: float = 1060.0, *marks: tuple[float, str]) -> Heard:
    return Heard((), begin, end, marks, trace="drive.log")


def test_marks_are_sorted_by_their_word() -> None:
    marks = marks_in(heard(1000.0, 1060.0, (1001.0, "menu"), (1002.0, "horn"), (1003.0, "menu")))
    both = {"menu": (Mark(1001.0, "menu"), Mark(1003.0, "menu")), "horn": (Mark(1002.0, "horn"),)}
    assert marks_of(marks, heard()) == both
    assert marks_of(marks, heard(), ["horn"]) == {"horn": both["horn"]}


def test_a_begin_and_an_end_that_were_typed_are_an_interval() -> None:
    typed = [(1.0, "up begin"), (2.0, "menu"), (3.0, "up end"), (4.0, "up begin"), (5.0, "up begin"), (6.0, "up end")]
    assert marks_in(heard(0.0, 9.0, *typed, (7.0, "down end"), (8.0, "gas end to end begin"))) == (
        Mark(1.0, "up", 3.0),
        Mark(2.0, "menu"),
        Mark(4.0, "up begin"),
        Mark(5.0, "up", 6.0),
        Mark(7.0, "down end"),
        Mark(8.0, "gas end to end begin"),
    )


def test_no_marks_and_none_of_a_word_are_told() -> None:
    with pytest.raises(GivenError, match=r"no marks in drive\.log; name a file with --marks"):
        marks_of((), heard())
    with pytest.raises(GivenError, match="no mark says 'up'; those there are say 'menu', 'horn'"):
        marks_of((Mark(1001, "menu"), Mark(1002, "horn")), heard(), ["up"])


def test_a_time_rounded_to_before_the_first_frame_is_within() -> None:
    assert marks_of((Mark(1000, "menu"),), heard(1000.4, 1060))["menu"] == (Mark(1000, "menu"),)
    with pytest.raises(GivenError, match="outside the trace"):
        marks_of((Mark(1000, "menu"),), heard(1000.6, 1060))


@pytest.mark.parametrize(
    ("trace", "mark", "why"),
    [
        ((1000, 1060), Mark(1.7e9, "menu"), "seems to be taken from a wall clock"),
        ((1.7e9, 1.7e9 + 60), Mark(5000, "menu"), "whose clock is a wall clock"),
        ((1.7e9, 1.7e9 + 60), Mark(50, "menu"), r"write a \+ before it"),
        ((1000, 1060), Mark(12, "menu"), r"write a \+ before it"),
        ((1000, 1060), Mark(1059, "menu", 1075), "the trace ends before that was over; take such marks out"),
        ((1000, 1060), Mark(1075, "menu"), "the trace ends before, or the marks belong to another one"),
        ((1000, 1060), Mark(900, "menu"), "another time base"),
        ((1000, 1060), Mark(-3, "menu"), "another time base"),
    ],
)
def test_marks_outside_the_trace_are_refused(trace: tuple[float, float], mark: Mark, why: str) -> None:
    with pytest.raises(GivenError, match=rf"the mark 'menu' .* lies outside the trace, which goes .*{why}"):
        marks_of((mark,), heard(*trace))


def test_of_several_marks_outside_the_others_are_counted() -> None:
    with pytest.raises(GivenError, match=r"at 1\.0 s and 2 more lie outside"):
        marks_of([Mark(1, "menu"), Mark(2, "menu"), Mark(3, "menu"), Mark(1001, "menu")], heard())


def test_a_mark_may_follow_the_last_frame_as_late_as_people_are() -> None:
    assert marks_of((Mark(1060.5, "menu"),), heard()) == {"menu": (Mark(1060.5, "menu"),)}


def test_marks_of_the_recording_itself_may_lie_beyond_its_frames() -> None:
    asleep = heard(1000.0, 1060.0, (990.0, "key"), (1100.0, "key"))
    assert len(marks_of(marks_in(asleep), asleep)["key"]) == 2


def test_marks_beyond_the_end_of_a_trace_that_was_cut_off_are_no_other_time_base() -> None:
    late = [Mark(1001, "menu"), Mark(1075, "menu"), Mark(1080, "menu")]
    with pytest.raises(
        GivenError, match=r"at 1075\.0 s and 1 more lie outside .* ends before that was over; take such"
    ):
        marks_of(late, heard())
    cut = Heard((), 1000.0, 1060.0, remarks=(half_line(),), trace="drive.log")
    with pytest.raises(GivenError, match="ends before that was over"):
        marks_of(late[1:], cut)


def test_an_interval_outside_is_told_with_its_end() -> None:
    with pytest.raises(GivenError, match=r"'menu' from 1001\.0 to 1075\.0 s lies outside"):
        marks_of([Mark(1001, "menu", 1075)], heard())


def test_more_marks_and_words_than_anybody_sets_are_refused() -> None:
    with pytest.raises(GivenError, match=r"m\.txt has more than 5000 marks.*fewer"):
        parse_marks((f"{number} menu" for number in range(10_000_000)), "m.txt", 0.0)
    own = [(1001.0, "menu")] * 5001
    with pytest.raises(GivenError, match=r"5001 marks in drive\.log.*--marks"):
        marks_in(heard(1000.0, 1060.0, *own))
    with pytest.raises(GivenError, match="say 101 different words, and 100 are searched at once"):
        marks_of([Mark(1001, f"word {number}") for number in range(101)], heard())


def test_a_word_in_a_trace_that_cannot_be_shown_is_shown_as_far_as_it_can() -> None:
    assert marks_in(heard(1000.0, 1060.0, (1001.0, "a\x1b[31m" + 200 * "b"))) == (Mark(1001.0, "a?[31m" + 74 * "b"),)


def test_marks_of_other_words_go_beside_those_asked_for_unless_they_cannot_be_taken() -> None:
    menu, up, outside = Mark(1010.0, "menu"), Mark(1020.0, "up"), Mark(2000.0, "down")
    assert beside([menu, up], heard(), {"menu": (menu,)}) == {"menu": (menu,), "up": (up,)}
    assert beside([menu, up, outside], heard(), {"menu": (menu,)}) == {"menu": (menu,)}
