from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from underdash.finding.marks import Mark
from underdash.finding.requests.asked import Exchange
from underdash.finding.requests.asked_for import Asked, Whom
from underdash.finding.requests.messages import Message
from underdash.finding.requests.on_show import Shown, on_show, split
from underdash.finding.requests.readings import Reading
from underdash.finding.requests.senders import Sender

WHOM = Whom(Sender("drive", 0x7E0), Sender("drive", 0x7E8))
WINDOWS = {"boost": [Mark(10.0, "boost", 30.0), Mark(80.0, "boost", 100.0)], "oil": [Mark(40.0, "oil", 60.0)]}


def boost(at: float) -> float:
    """In bar."""
    return 1.3 + 0.6 * math.sin(at / 4.0)


def asked(identifier: int, *when: tuple[float, float], value: Callable[[float], int] | None = None) -> Asked:
    """A value that is asked for five times a second from one second to another."""
    one = Asked(WHOM, "identifier_22", 0x22, identifier, 4, b"\x22" + identifier.to_bytes(2))
    for begin, end in when:
        for n in range(int((end - begin) * 5)):
            at = begin + 0.2 * n
            data = (value(at) if value else int(at * 100) & 0xFFFF).to_bytes(2)
            request = Message(at, at, one.request)
            answer = Message(at + 0.01, at + 0.01, b"\x62" + one.request[1:] + data)
            one.exchanges.append(Exchange(WHOM.to, WHOM.by, request, answer))
            one.values.append((at + 0.01, data))
    return one


def shown(word: str, found: list[Shown]) -> Shown:
    return next(one for one in found if one.word == word)


def test_marks_are_split_into_what_was_on_show_and_numbers_read_off_it() -> None:
    windows, readings = split(
        [
            Mark(1.0, "boost only", 21.0),
            Mark(3.0, "boost 1.25 bar"),
            Mark(4.0, "charge temperature -7 degC"),
            Mark(5.0, "pressed menu"),
            Mark(30.0, "gear 3", 40.0),
        ]
    )
    assert windows == {"boost": [Mark(1.0, "boost only", 21.0)], "gear 3": [Mark(30.0, "gear 3", 40.0)]}
    assert readings == {
        "boost": [Reading(3.0, 1.25, 0.01, "bar")],
        "charge temperature": [Reading(4.0, -7.0, 1.0, "degC")],
    }


def test_a_value_asked_for_only_while_it_was_on_show_is_found() -> None:
    values = [asked(1, (9.0, 31.0), (79.0, 101.0)), asked(2, (39.0, 61.0)), asked(3, (0.0, 120.0))]
    found = on_show(values, WINDOWS, {})
    best = {one.word: one.best and one.best.asked.identifier for one in found}
    assert best == {"boost": 1, "oil": 2}
    assert shown("boost", found).candidates[0].confidence > shown("oil", found).candidates[0].confidence


def test_several_values_asked_for_together_are_a_tie_that_is_told() -> None:
    values = [asked(1, (9.0, 31.0), (79.0, 101.0)), asked(4, (9.0, 31.0), (79.0, 101.0)), asked(2, (39.0, 61.0))]
    boosts = shown("boost", on_show(values, WINDOWS, {}))
    assert boosts.best is None
    assert [round(one.confidence, 3) for one in boosts.candidates] == [0.475, 0.475]
    assert "2 values were asked for while boost was on show" in boosts.remarks[0]


def test_numbers_that_were_typed_break_the_tie_and_give_the_scale() -> None:
    values = [
        asked(1, (9.0, 31.0), (79.0, 101.0), value=lambda at: 9000 + int(300 * math.sin(at))),
        asked(4, (9.0, 31.0), (79.0, 101.0), value=lambda at: round(boost(at) / 0.0005)),
    ]
    typed = [Reading(at + 0.8, round(boost(at), 2), 0.01, "bar") for at in (12, 15, 18, 21, 24, 27, 84, 88, 92, 96)]
    best = shown("boost", on_show(values, WINDOWS, {"boost": typed})).best
    assert best is not None
    assert best.fit is not None
    assert best.asked.identifier == 4
    assert (best.fit.line.scale, best.fit.line.offset) == (0.0005, 0.0)
    assert best.fit.lag_s == pytest.approx(0.8, abs=0.3)


def test_what_is_always_asked_for_is_nobodys() -> None:
    (found,) = on_show([asked(3, (0.0, 120.0))], {"boost": WINDOWS["boost"], "oil": WINDOWS["oil"]}, {})[:1]
    assert found.candidates == []
    assert "asked for all the time" in found.remarks[0]


def test_nothing_asked_for_is_said() -> None:
    (found,) = on_show([asked(2, (39.0, 61.0))], {"boost": WINDOWS["boost"], "oil": WINDOWS["oil"]}, {})[:1]
    assert found.best is None
    assert found.remarks == ["nothing was asked for while boost was on show: the value may not be on this bus"]


def test_one_parameter_alone_cannot_be_told_from_what_is_always_asked_for() -> None:
    (found,) = on_show([asked(1, (9.0, 31.0), (79.0, 101.0))], {"boost": WINDOWS["boost"]}, {})
    assert found.best is None
    assert found.remarks == ["nothing but boost was on show; show other parameters too, each by itself for 20 s"]


def test_numbers_that_follow_nothing_give_no_scale() -> None:
    values = [asked(1, (0.0, 120.0), value=lambda at: 9000 + int(300 * math.sin(7 * at)))]
    typed = [Reading(10.0 + 7 * n, float((n * 37) % 11)) for n in range(9)]
    (found,) = on_show(values, {}, {"boost": typed})
    assert found.candidates == []
    assert "none of its values follows the 9 numbers typed for boost" in found.remarks[0]


@pytest.mark.parametrize("numbers", [(1.2, 1.3, 1.4), (1.2, 1.2, 1.2, 1.2, 1.2, 1.2)])
def test_too_few_numbers_or_a_constant_one_are_refused(numbers: tuple[float, ...]) -> None:
    typed = [Reading(10.0 + n, value) for n, value in enumerate(numbers)]
    (found,) = on_show([asked(1, (0.0, 120.0))], {}, {"boost": typed})
    assert found.candidates == []
    assert "type low, middle and high values" in found.remarks[0]
