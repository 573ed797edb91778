from __future__ import annotations

from collections.abc import Sequence

from underdash.finding.ignition.lead import LONGEST_S, REMIND_S, SILENT_S, STEPS, IgnitionLead, Step
from underdash.finding.ignition.positions import DARK, LIT, WORDS

TWO = (Step("OFF", "ignition off", 4.0), Step("ON", "ignition on", 6.0))


def begun(now: float, steps: Sequence[Step]) -> IgnitionLead:
    """One that has said what it says first."""
    lead = IgnitionLead(now, steps)
    lead.tick(now)
    lead.tick(now)
    return lead


def test_it_asks_one_after_the_other_and_leaves_time_between() -> None:
    lead = IgnitionLead(100.0, TWO)
    assert lead.tick(100.0) == "with the car standing, out of gear, in the open or well aired"
    assert (lead.tick(100.0) or "").startswith("each time: do it, press Enter as you do")
    assert lead.tick(100.0) == "now: OFF - ignition off"
    assert lead.tick(101.0) is None
    asked_for = [lead.word]
    lead.marked(102.0)
    asked_for.append(lead.word)
    assert lead.tick(105.9) is None
    lead.marked(105.9)  # too early: nothing is asked for
    assert lead.tick(106.0) == "now: ON - ignition on"
    asked_for.append(lead.word)
    lead.marked(107.0)
    assert [*asked_for, lead.word] == ["OFF", None, "ON", None]


def test_it_reminds_a_person_who_does_nothing() -> None:
    lead = begun(0.0, TWO)
    lead.tick(0.0)
    assert lead.tick(REMIND_S - 1) is None
    assert lead.tick(REMIND_S) == "still waiting: OFF - ignition off"


def test_what_a_car_does_not_have_is_skipped_at_once() -> None:
    lead = begun(0.0, TWO)
    lead.tick(0.0)
    lead.skipped(1.0)
    lead.skipped(1.0)  # typed once too often
    assert lead.tick(1.0) == "now: ON - ignition on"


def test_it_records_on_until_the_buses_sleep() -> None:
    lead = begun(0.0, ())
    assert (lead.tick(0.0) or "").startswith("that is all; it records on")
    lead.heard(30.0)
    said = [(lead.tick(at), lead.done) for at in (30.0 + SILENT_S - 0.1, 30.0 + SILENT_S)]
    assert said == [(None, False), ("the buses sleep", True)]
    assert lead.tick(99.0) is None


def test_a_bus_that_never_sleeps_is_not_waited_for_for_ever() -> None:
    lead = begun(0.0, ())
    lead.tick(0.0)
    lead.heard(LONGEST_S)
    assert lead.tick(LONGEST_S) == "the buses still talk after 15 minutes; that is enough"
    assert lead.done


def test_marks_after_the_end_change_nothing() -> None:
    lead = IgnitionLead(0.0, ())
    lead.marked(1.0)
    lead.skipped(1.0)
    assert lead.word is None


def test_the_steps_say_on_and_off_and_something_else() -> None:
    positions = [WORDS[step.word.casefold()] for step in STEPS if step.word.casefold() in WORDS]
    assert {*DARK, *LIT, "START"} == set(positions)
    assert positions.count("ON") == positions.count("OFF") == positions.count("LOCK") == 2
    assert len(positions) < len(STEPS)
