from __future__ import annotations

from itertools import count, repeat

import pytest

from underdash.contract.layout import Bits
from underdash.finding.found import Answer, Candidate, Where
from underdash.finding.pressed.lead import Lead, Plan

PLAN = Plan(quiet_s=60, fewest=5, most=8, further=2, remind_s=10, settle_s=2)


def answer(*confidences: float) -> Answer:
    rank = tuple(Candidate(Where("body", 0x2C1, False, Bits(2, 1, n)), one, one) for n, one in enumerate(confidences))
    return Answer("menu", (rank,) if rank else ())


class Person:
    """Does what is said at once, on a clock of whole seconds."""

    def __init__(self, lead: Lead, found: Answer) -> None:
        self.lead, self.found = lead, found
        self.said: list[tuple[int, str]] = []
        self.judged: list[int] = []

    def follow(self) -> None:
        for now in count():
            if (said := self.lead.tick(now)) is not None:
                self.said.append((now, said))
                if said.startswith("now: "):
                    self.lead.marked(now)
            if self.lead.judging(now):
                self.judged.append(now)
                self.lead.judged(self.found, now)
            if self.lead.done:
                return
            assert now < 1000

    @property
    def presses(self) -> int:
        return sum(said.startswith("now: ") for _, said in self.said)


def led(found: Answer, *words: str) -> Person:
    person = Person(Lead(words or ("menu",), 0, repeat(4.0), PLAN), found)
    person.follow()
    return person


def test_a_quiet_minute_comes_first_and_then_five_presses() -> None:
    person = led(answer(0.95))
    assert person.said[0] == (0, "leave everything alone for 60 s; this shows what changes by itself")
    assert person.said[1] == (64, "now: menu (1), and press Enter as you do it")
    assert person.presses == 5
    assert person.said[-1][1] == "enough: menu is body 2C1 byte 2 bit 0"
    assert person.judged == [person.said[-2][0] + 2]


@pytest.mark.parametrize(
    ("found", "presses", "why"),
    [
        (answer(0.95), 5, "enough: menu is body 2C1 byte 2 bit 0"),
        (answer(0.5, 0.48), 7, "enough: 2 fields answer to menu alike, and more presses will not tell them apart"),
        (answer(), 7, "enough: nothing reacts to menu"),
        (answer(0.6), 8, "enough: 8 presses of menu do not settle it"),
    ],
)
def test_it_ends_when_more_presses_would_not_help(found: Answer, presses: int, why: str) -> None:
    person = led(found)
    assert person.presses == presses
    assert person.said[-1][1] == why


def test_each_word_has_its_turn_after_one_quiet_minute() -> None:
    person = led(answer(0.95), "menu", "horn")
    assert [said for _, said in person.said if "leave everything" in said] == [person.said[0][1]]
    assert person.presses == 10
    assert person.said[-1][1].startswith("enough: horn")


def test_who_does_not_press_is_asked_again() -> None:
    lead = Lead(["menu"], 0, repeat(4.0), PLAN)
    said = [(now, text) for now in range(90) if (text := lead.tick(now))]
    assert said[2:] == [(now, "still waiting for menu: do it, and press Enter as you do") for now in (74, 84)]


def test_a_mark_that_was_not_asked_for_counts() -> None:
    lead = Lead(["menu"], 0, repeat(4.0), PLAN)
    lead.tick(0)
    for now in range(5, 10):
        lead.marked(now)
    assert lead.judging(10) is None
    assert lead.judging(11) == "menu"
    lead.judged(answer(0.95), 11)
    assert lead.tick(11) is not None
    assert lead.done
    lead.marked(12)
    assert lead.done
