from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits
from underdash.finding.found import Answer
from underdash.finding.heard import Heard
from underdash.finding.marks import Mark
from underdash.finding.pressed.search import pressed
from underdash.finding.reading import heard_from

from .buttons import BEGIN, car, late, times, traffic

FIVE = times(5)


def asked(heard: Heard, marks: Sequence[Mark]) -> Answer:
    (answer,) = pressed(heard, {marks[0].word: marks})
    return answer


def places(answer: Answer) -> list[list[str]]:
    return [[str(one.where) for one in rank] for rank in answer.ranks]


@pytest.fixture(scope="module")
def five() -> Heard:
    return car(FIVE)


def test_a_button_is_found_with_its_values_and_before_its_consequence(five: Heard) -> None:
    answer = asked(five, late(FIVE))
    assert places(answer)[0] == ["comfort 2C1 byte 2 bit 5"]
    best = answer.best
    assert best is not None
    assert best.confidence > 0.9
    assert best.meaning == {0: "released", 1: "menu"}
    assert best.figures["answered"] == 5
    assert best.figures["unmarked"] == 0
    (after,) = [one for rank in answer.ranks[1:] for one in rank if one.where.id == 0x550]
    assert after.confidence < 0.1
    assert after.because[-1] == "follows comfort 2C1 byte 2 bit 5 by 84 ms each time: rather its consequence"


def test_one_missed_mark_and_one_that_belongs_to_nothing_do_no_harm(five: Heard) -> None:
    marks = [*late(FIVE)[1:], Mark(BEGIN + 55.0, "menu")]
    answer = asked(five, marks)
    assert answer.best is not None
    assert str(answer.best.where) == "comfort 2C1 byte 2 bit 5"
    assert answer.best.because == (
        "it changes 0.08 to 0.56 s before 4 of 5 marks", "against it: 1 such change without a mark"
    )  # fmt: skip


def test_with_few_marks_ties_are_told_with_what_to_do() -> None:
    answer = asked(car(FIVE[:2]), late(FIVE[:2]))
    assert {str(one.where) for one in answer.ranks[0]} >= {"comfort 2C1 byte 2 bit 5", "comfort 550 byte 0 bit 0"}
    assert answer.best is None
    assert sum(one.confidence for rank in answer.ranks for one in rank) <= 1.0
    assert answer.remarks[-1].endswith(
        "record 'menu' again, 5 times at irregular intervals, and then leave it for a minute"
    )


def test_a_copy_that_always_moves_along_is_told_as_a_tie_that_marks_cannot_break() -> None:
    def copied() -> list[tuple[str, Frame]]:
        return [
            *(frames := list(traffic(FIVE))),
            *(("body", Frame(0x77, frame.data[2:3], at=frame.at + 0.001)) for _, frame in frames if frame.id == 0x2C1),
        ]

    answer = asked(heard_from(sorted(copied(), key=lambda pair: pair[1].at)), late(FIVE))
    assert sorted(places(answer)[0]) == ["body 077 byte 0 bit 5", "comfort 2C1 byte 2 bit 5"]
    assert "do what moves only some of them" in answer.remarks[-1]


def test_marks_with_no_answer_anywhere_get_none() -> None:
    answer = asked(car([]), late(FIVE))
    assert answer.ranks == ()
    assert answer.remarks[0].startswith("nothing reacts to 'menu' on comfort: the button may not be on this bus")


def test_what_happens_as_often_without_a_mark_is_not_believed() -> None:
    often = [BEGIN + 1.0 + 1.9 * n for n in range(30)]
    assert asked(car(often), late(often[3:18:3])).ranks == ()


@pytest.mark.parametrize("count", [10, 20, 30])
def test_many_marks_at_random_beside_much_that_changes_are_not_believed(count: int) -> None:
    busy = car([BEGIN + 1.0 + 1.9 * n for n in range(30)])
    for seed in range(10):
        at = np.sort(np.random.default_rng(seed).uniform(BEGIN, BEGIN + 60.0, count)).tolist()
        answer = asked(busy, [Mark(one, "menu") for one in at])
        assert sum(one.confidence for rank in answer.ranks[:1] for one in rank) < 0.9


@pytest.mark.parametrize("at_once", [1, 100, 1000])
def test_fields_that_are_weighed_in_parts_come_to_the_same(
    five: Heard, monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    whole = asked(five, late(FIVE))
    monkeypatch.setattr("underdash.finding.pressed.weighing.AT_ONCE", at_once)
    assert whole.ranks
    assert asked(five, late(FIVE)) == whole


def test_each_word_has_an_answer_of_its_own() -> None:
    up, down = FIVE[::2], FIVE[1::2]

    def frames() -> list[tuple[str, Frame]]:
        found = []
        for n in range(3000):
            at = BEGIN + 0.02 * n
            value = (
                1
                if any(0 <= at - press < 0.4 for press in up)
                else 2
                if any(0 <= at - press < 0.4 for press in down)
                else 0
            )
            found.append(("comfort", Frame(0x111, bytes([value << 2, n & 0xFF]), at=at)))
        return found

    answers = pressed(heard_from(frames()), {"up": late(up, "up"), "down": late(down, "down")})
    assert [answer.question for answer in answers] == ["up", "down"]
    assert [str(answer.ranks[0][0].where) for answer in answers] == [
        "comfort 111 byte 0 bit 2", "comfort 111 byte 0 bit 3"
    ]  # fmt: skip


def test_a_switch_that_stays_is_found_by_the_marks_of_both_ways() -> None:
    def frames() -> list[tuple[str, Frame]]:
        return [
            ("comfort", Frame(0x111, bytes([sum(at <= BEGIN + 0.02 * n for at in FIVE) % 2 << 7]), at=BEGIN + 0.02 * n))
            for n in range(3000)
        ]

    best = asked(heard_from(frames()), late(FIVE)).best
    assert best is not None
    assert best.where.bits == Bits(0, 1, 7)
    assert best.meaning == {}


def test_intervals_name_what_was_held() -> None:
    marks = [Mark(at + 0.3, "horn", at + 2.2) for at in FIVE]
    answer = asked(car(FIVE, hold_s=2.0), marks)
    assert answer.ranks[0][0].meaning == {0: "not horn", 1: "horn"}
    assert answer.ranks[0][0].figures["answered"] == 10


def test_an_id_that_is_sent_on_change_only_is_found() -> None:
    def frames() -> list[tuple[str, Frame]]:
        changes = [(at + after, value) for at in FIVE for after, value in ((0.0, 0x40), (0.25, 0x00))]
        sent = [("comfort", Frame(0x222, bytes([value, 9]), at=at)) for at, value in changes]
        return sorted([*traffic([]), *sent], key=lambda pair: pair[1].at)

    answer = asked(heard_from(frames()), late(FIVE))
    assert "comfort 222 byte 0 bit 6" in places(answer)[0]
    (button,) = [one for one in answer.ranks[0] if one.where.bits.length == 1]
    assert button.figures["answered"] == 5
    assert button.meaning == {0: "released", 1: "menu"}


def test_an_id_whose_coming_alone_is_the_answer_is_found() -> None:
    def frames() -> list[tuple[str, Frame]]:
        sent = [("comfort", Frame(0x222, b"\x55\xaa", at=at + 0.05 * n)) for at in FIVE for n in range(3)]
        return sorted([*traffic([]), *sent], key=lambda pair: pair[1].at)

    best = asked(heard_from(frames()), late(FIVE)).best
    assert best is not None
    assert str(best.where) == "comfort 222 being sent at all"
    assert best.because[0].startswith("frames of this id, which is sent on occasion only, come 0.0")


def test_counters_and_checksums_are_left_out() -> None:
    wraps = [BEGIN + 16.0, BEGIN + 32.0, BEGIN + 48.0]
    assert all(one.where.id != 0x3B0 for rank in asked(car([]), late(wraps)).ranks for one in rank)


def test_frames_that_become_shorter_do_not_look_like_a_change() -> None:
    frames = [("comfort", Frame(0x111, b"\x01\xff"[: 1 + (n % 3 > 0)], at=BEGIN + 0.02 * n)) for n in range(3000)]
    assert asked(heard_from(frames), late(FIVE)).ranks == ()


@pytest.mark.parametrize("frames", [[Frame(0x1, b"\x01", at=BEGIN)], [Frame(0x1, b"\x01", at=BEGIN)] * 9])
def test_one_frame_and_frames_of_one_stamp_answer_nothing(frames: list[Frame]) -> None:
    heard = heard_from([("comfort", frame) for frame in frames])
    assert asked(heard, [Mark(BEGIN, "menu")]).ranks == ()


def test_no_frames_answer_nothing() -> None:
    assert asked(heard_from([]), [Mark(0.0, "menu")]).ranks == ()


def test_the_best_alone_though_hardly_believed_shares_its_rank_with_what_the_marks_speak_for_as_much() -> None:
    """A bit and fields of three states, whose bits move at different times, answer two presses alike."""
    first, second = FIVE[:2]
    log = list(traffic([]))
    for n in range(3000):
        at = BEGIN + 0.02 * n + 0.002
        state = (at >= first) + (at >= second)
        log.append(("comfort", Frame(0x410, bytes([(1, 0, 1)[state]]), at=at)))
        log += [("comfort", Frame(0x420 + k, bytes([(0b000, 0b001, 0b110)[state]]), at=at)) for k in range(4)]
    answer = asked(heard_from(sorted(log, key=lambda pair: pair[1].at)), late([first, second]))
    states = {f"comfort 42{k} byte 0 bits 0 to 2" for k in range(4)}
    assert places(answer)[0][0] == "comfort 410 byte 0 bit 0"
    assert set(places(answer)[0][1:]) == states
    assert answer.ranks[0][0].confidence < 0.5
    assert answer.best is None
