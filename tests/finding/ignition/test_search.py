from __future__ import annotations

from collections.abc import Iterable, Sequence

import pytest

from underdash.bus.frames import Frame
from underdash.contract.errors import GivenError
from underdash.finding.describing import IGNITION as SIGNAL
from underdash.finding.describing import addition
from underdash.finding.found import Answer
from underdash.finding.heard import Heard
from underdash.finding.ignition.search import ignition
from underdash.finding.marks import Mark, marks_of
from underdash.finding.reading import heard_from
from underdash.signals.catalogue import CATALOGUE
from underdash.simulator.driver import Phase

from .led import LED, OTHERS, led_recording

NAMES = {"LOCK", "OFF", "ACC", "ON", "START"}
ROUND = ((0, "LOCK"), (4, "OFF"), (7, "ACC"), (12, "ON"), (20, "OFF"), (25, "LOCK"))


def asked(heard: Heard, marks: Sequence[Mark]) -> Answer:
    return ignition(heard, marks_of(marks, heard))


def made_up(
    values: dict[str, int], *, period_s: float | None = 0.1, busy: bool = True, more: Iterable[tuple[str, Frame]] = ()
) -> tuple[Heard, list[Mark]]:
    """Thirty seconds in which 2A0 tells the position, every `period_s` or on change only; marks 0.3 s late."""
    frames, before = list(more), None
    for number in range(3000):
        at = number / 100
        value = values[next(word for begin, word in reversed(ROUND) if at >= begin)]
        if (value != before) if period_s is None else number % round(100 * period_s) == 0:
            frames.append(("body", Frame(0x2A0, bytes((0x40 | value, 0x11)), at=at)))
        before = value
        if busy and number % 2 == 0:
            frames.append(("body", Frame(0x100, bytes((number & 0xFF, number >> 4 & 0x0F)), at=at)))
    heard = heard_from(sorted(frames, key=lambda one: one[1].at))
    return heard, [Mark(at + 0.3, word) for at, word in ROUND]


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("car", ["tarn", "loris"])
def test_the_simulated_cars_tell_their_ignition_however_late_the_marks_are(car: str, seed: int) -> None:
    heard, marks, truth = led_recording(car, seed)
    best = asked(heard, marks).best
    assert best is not None
    assert best.where.bits == truth
    assert set(best.meaning.values()) == NAMES
    assert best.confidence >= 0.9


def test_what_was_found_can_be_written_as_the_ignition_of_a_description() -> None:
    heard, marks, _ = led_recording("loris", 1)
    best = asked(heard, marks).best
    assert best is not None
    made = addition(best, heard, CATALOGUE.signal(SIGNAL), "find ignition")
    assert made.ignition == {"signal": SIGNAL, "on": ["ON"], "off": ["LOCK", "OFF", "ACC"], "start": ["START"]}
    (field,) = made.listener.fields
    assert field.values == ((1, "LOCK"), (2, "OFF"), (3, "ACC"), (5, "ON"), (6, "START"))


def test_a_field_sent_on_change_only_is_recognised_as_such() -> None:
    heard, marks = made_up({"LOCK": 0, "OFF": 1, "ACC": 2, "ON": 3}, period_s=None)
    best = asked(heard, marks).best
    assert best is not None
    assert (best.where.id, best.where.bits.byte, best.where.bits.length) == (0x2A0, 0, 2)
    assert any("sent on change only" in sentence for sentence in best.because)
    made = addition(best, heard, CATALOGUE.signal(SIGNAL), "find ignition")
    assert made.listener.on_change
    assert made.ignition is not None
    assert made.ignition["alive_with"] == {"bus": "body", "id": "100", "extended": False}


def test_positions_that_read_the_same_get_one_name_and_are_told() -> None:
    heard, marks = made_up({"LOCK": 0, "OFF": 0, "ACC": 0, "ON": 1})
    answer = asked(heard, marks)
    best = answer.best
    assert best is not None
    assert best.meaning == {0: "OFF", 1: "ON"}
    assert best.confidence < 0.9
    assert "the best one reads the same in LOCK, OFF and ACC" in answer.remarks


def test_what_answers_to_a_door_is_no_ignition() -> None:
    """A lamp goes with the ignition, and for a moment with the door as well."""
    lamp = [
        ("body", Frame(0x2B0, bytes((0x80 if 12 <= n / 10 < 20 or 26.5 <= n / 10 < 26.8 else 0,)), at=n / 10))
        for n in range(300)
    ]
    heard, marks = made_up({"LOCK": 0, "OFF": 1, "ACC": 2, "ON": 3}, more=lamp)
    assert [one.where.id for rank in asked(heard, marks).ranks for one in rank] == [0x2A0, 0x2B0]
    answer = asked(heard, [*marks, Mark(26.9, "door")])
    assert [one.where.id for rank in answer.ranks for one in rank] == [0x2A0]
    assert "not the ignition, since they answer to other deeds too: body 2B0 byte 0 bit 7 (door)" in answer.remarks
    assert "it does not answer to door" in answer.ranks[0][0].because


def test_the_lamp_of_the_simulated_cars_is_not_taken_for_the_ignition() -> None:
    heard, marks, _ = led_recording("tarn", 4)
    assert OTHERS not in {one.where.id for rank in asked(heard, marks).ranks for one in rank}


def test_of_two_that_say_the_same_the_later_one_is_a_consequence() -> None:
    values = {"LOCK": 0, "OFF": 1, "ACC": 2, "ON": 3}
    behind = made_up(values, busy=False)[0].streams[0]
    later = [
        ("body", Frame(0x2F0, bytes(data), at=float(at) + 0.4))
        for at, data in zip(behind.at, behind.data, strict=True)
        if at + 0.4 < 30
    ]
    heard, marks = made_up(values, more=later)
    best = asked(heard, marks).best
    assert best is not None
    assert best.where.id == 0x2A0


def test_that_it_changes_first_is_said_only_of_the_one_that_does() -> None:
    """Six lamps in one frame change together; what comes later follows them."""
    values = {"LOCK": 0, "OFF": 0, "ACC": 0, "ON": 0b10101}
    later = [("body", Frame(0x2F0, bytes((12.5 <= n / 10 < 20.5,)), at=n / 10 + 0.05)) for n in range(300)]
    heard, marks = made_up(values, more=later)
    told = {str(one.where): " ".join(one.because) for rank in asked(heard, marks).ranks for one in rank}
    tied = [text for place, text in told.items() if "2A0" in place]
    (behind,) = (text for place, text in told.items() if "2F0" in place)
    assert len(tied) == 1, "bits of one byte that always change together are one field"
    assert "it changes first of all that go with the ignition" in tied[0]
    assert "it follows the first of all that go with the ignition after 0.4" in behind

    six = [
        ("body", Frame(0x300 + lamp, bytes((12.01 <= n / 10 < 20.01,)), at=n / 10 + 0.001 * lamp))
        for lamp in range(6)
        for n in range(300)
    ]
    heard, marks = made_up({"LOCK": 0, "OFF": 0, "ACC": 0, "ON": 0}, more=[*six, *later])
    told = {str(one.where): " ".join(one.because) for rank in asked(heard, marks).ranks for one in rank}
    tied = [text for place, text in told.items() if "2F0" not in place]
    assert len(tied) == 6
    assert all("it is one of 6 that change together before all others that go with the ignition" in t for t in tied)
    assert not any("changes first of all" in text for text in told.values())


def test_a_copy_on_another_bus_is_named_and_not_a_tie() -> None:
    values = {"LOCK": 0, "OFF": 1, "ACC": 2, "ON": 3}
    first = made_up(values, busy=False)[0].streams[0]
    copy = [
        ("drive", Frame(0x4C1, bytes((data[0] << 1 & 0xFF,)), at=float(at) + 0.002))
        for at, data in zip(first.at, first.data, strict=True)
    ]
    heard, marks = made_up(values, more=copy)
    best = asked(heard, marks).best
    assert best is not None
    assert (best.where.bus, best.where.id) == ("body", 0x2A0)
    assert "the same reads drive 4C1 byte 0 bits 1 to 2" in best.because


@pytest.mark.parametrize("word", ["START", "ACC"])
def test_a_mark_that_was_missed_does_not_hide_the_ignition(word: str) -> None:
    heard, marks, truth = led_recording("tarn", 2)
    answer = asked(heard, [mark for mark in marks if mark.word != word])
    best = answer.ranks[0][0]
    assert best.where.bits == truth
    assert best.meaning[3] == "ON"
    assert any(sentence.startswith("against it: 1 change that no mark explains") for sentence in best.because)
    assert any(remark.startswith("after OFF at second 5.") for remark in answer.remarks) is (word == "ACC")


def test_one_round_says_less_than_two_and_asks_for_another() -> None:
    heard, marks, _ = led_recording("tarn", 1, (*LED[:4], Phase("OFF", 8, "OFF")), doing=False)
    answer = asked(heard, marks)
    assert str(answer.ranks[0][0].where) == "comfort 0C4A1020 byte 0 bits 0 to 1"  # nothing starts here
    assert answer.ranks[0][0].confidence < 0.98
    assert any(remark.startswith("no mark says START") for remark in answer.remarks)
    assert any(remark.startswith("nothing else was marked") for remark in answer.remarks)


def test_nothing_is_found_where_nothing_goes_with_the_ignition() -> None:
    heard, marks = made_up({"LOCK": 1, "OFF": 1, "ACC": 1, "ON": 1})
    answer = asked(heard, marks)
    assert answer.ranks == ()
    assert answer.remarks[0].startswith("no field reads otherwise with the ignition on than with it off")


def test_an_id_that_is_only_sent_while_on_cannot_tell_that_it_is_off() -> None:
    lit = [("drive", Frame(0x300, b"\xff", at=n / 100)) for n in range(1200, 2000)]
    heard, marks = made_up({"LOCK": 1, "OFF": 1, "ACC": 1, "ON": 1}, more=lit)
    assert asked(heard, marks).ranks == ()


@pytest.mark.parametrize(("words", "missing"), [(("ON", "START"), "OFF"), (("LOCK", "ACC"), "ON")])
def test_marks_have_to_say_both_on_and_off(words: Sequence[str], missing: str) -> None:
    heard, _ = made_up({"LOCK": 0, "OFF": 1, "ACC": 2, "ON": 3})
    with pytest.raises(GivenError, match=f"the marks never say {missing}: mark each position"):
        asked(heard, [Mark(5.0 + n, word) for n, word in enumerate(words)])


def test_intervals_and_other_spellings_of_positions_will_do() -> None:
    heard, _ = made_up({"LOCK": 0, "OFF": 1, "ACC": 2, "ON": 3})
    marks = [Mark(4.2, "off", 7.2), Mark(7.3, "accessory", 12.2), Mark(12.5, "ready", 20.1), Mark(20.4, "off")]
    best = asked(heard, [*marks, Mark(25.5, "locked")]).ranks[0][0]
    assert (best.where.id, best.meaning) == (0x2A0, {0: "LOCK", 1: "OFF", 2: "ACC", 3: "ON"})


def test_a_field_that_reads_off_between_two_positions_that_are_on_is_doubted() -> None:
    """Its dip lies within the lateness of the marks of the engine's start, so that only its value speaks against it."""
    dip = [
        ("body", Frame(0x2B0, bytes((12 <= n / 100 < 20 and not 15.9 <= n / 100 < 16.1,)), at=n / 100))
        for n in range(3000)
    ]
    heard, marks = made_up({"LOCK": 0, "OFF": 0, "ACC": 0, "ON": 1}, more=dip)
    first, second = (rank[0] for rank in asked(heard, [*marks, Mark(16.2, "running")]).ranks)
    assert (first.where.id, second.where.id) == (0x2A0, 0x2B0)
    assert first.confidence > 2 * second.confidence
