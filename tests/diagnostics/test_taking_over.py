"""A description read anew while control units are asked: what is under way goes on, and nobody is asked twice."""

from __future__ import annotations

from dataclasses import replace

from underdash.contract.requests import PollRequest
from underdash.diagnostics.asking import Asking
from underdash.diagnostics.requests import compile_polls
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store

from .test_asking import CAR, ENGINE, SHARED_KEY, Car, asked

TURNS = asked("engine", "identifier_22", 0x1001, "engine.speed")
SPEED = asked("engine", "identifier_22", 0x1002, "vehicle.speed")
LONG = asked("engine", "identifier_22", 0x21C7, "engine.speed")
WORDS = ("engine.speed", "vehicle.speed")


def anew(car: Car, *requests: PollRequest, now: float, words: tuple[str, ...] = WORDS) -> Car:
    """Read the description anew, with these requests in it."""
    after = Car(list(requests))
    after.asking.take_over(car.asking)
    after.want(*words, now=now)
    return after


def names(car: Car, now: float) -> list[str]:
    return [one.name for request in car.send(now) for one in request.polls]


def test_an_answer_that_is_under_way_is_read_and_its_unit_is_not_asked_again_before() -> None:
    car = Car([TURNS])
    car.want("engine.speed")
    assert names(car, 1.0) == ["engine 22 1001"]
    after = anew(car, TURNS, now=1.01)
    assert names(after, 1.02) == []
    after.hear("0562100103E8", 1.03)
    assert after.value("engine.speed", 1.03) == 50.0
    assert (after.asking.counts.sent, after.asking.counts.answered, after.asking.counts.overheard) == (1, 1, 0)
    assert names(after, 1.05) == []
    assert names(after, 1.11) == ["engine 22 1001"]


def test_the_answer_under_way_is_read_as_the_description_says_now() -> None:
    car = Car([TURNS])
    car.want("engine.speed")
    car.send(1.0)
    other = replace(TURNS, fields=(replace(TURNS.fields[0], scale=0.1),))
    after = anew(car, other, now=1.01)
    after.hear("0562100103E8", 1.03)
    assert after.value("engine.speed", 1.03) == 100.0


def test_what_is_asked_no_more_has_its_time_to_be_answered() -> None:
    car = Car([TURNS])
    car.want("engine.speed")
    car.send(1.0)
    after = anew(car, SPEED, now=1.01)
    assert names(after, 1.0 + ENGINE.answer_within_s - 0.01) == []
    assert names(after, 1.0 + ENGINE.answer_within_s + 0.01) == ["engine 22 1002"]
    after.hear("0562100103E8", 1.2)
    assert after.value("engine.speed", 1.2) is None


def test_a_late_answer_that_does_not_say_to_what_is_not_taken_for_another_one() -> None:
    first = asked("charge", "no_echo", 0x01, "engine.speed")
    other = asked("charge", "no_echo", 0x02, "vehicle.speed")
    car = Car([first])
    car.want("engine.speed")
    assert len(car.send(1.0)) == 1
    after = anew(car, other, now=1.01)
    after.hear("5CE1FF10", 1.1, SHARED_KEY)
    assert after.value("vehicle.speed", 1.1) is None
    assert names(after, 1.9) == []


def test_a_long_answer_goes_on() -> None:
    car = Car([LONG])
    car.want("engine.speed")
    car.send(1.0)
    car.hear("100D6221C703E80A", 1.01)
    after = anew(car, LONG, now=1.015)
    after.hear("21 11 22 33 44 55 66 77", 1.02)
    assert after.value("engine.speed", 1.02) == 50.0
    assert (after.asking.counts.answered, after.asking.counts.dropped) == (1, 0)


def test_what_is_read_in_the_same_way_is_not_asked_before_its_time_and_shown_meanwhile() -> None:
    once = replace(SPEED, once=True)
    car = Car([TURNS, once])
    car.want(*WORDS)
    for at in (1.0, 1.1):
        car.send(at)
        car.hear("0562100103E8", at + 0.01)
        car.hear("056210020100", at + 0.01)
    after = anew(car, TURNS, once, now=1.15)
    assert (after.value("engine.speed", 1.15), after.value("vehicle.speed", 1.15)) == (50.0, 12.8)
    assert {name for at in (1.16, 1.3, 5.0) for name in names(after, at)} == {"engine 22 1001"}


def test_what_is_read_otherwise_is_asked_at_once_and_shown_no_more() -> None:
    car = Car([replace(TURNS, period_s=60.0)])
    car.want("engine.speed")
    car.send(1.0)
    car.hear("0562100103E8", 1.01)
    other = replace(TURNS, fields=(replace(TURNS.fields[0], scale=0.1),))
    after = anew(car, other, now=1.1)
    assert after.value("engine.speed", 1.1) is None
    assert names(after, 1.11) == ["engine 22 1001"]


def test_a_request_whose_frames_are_not_all_out_is_given_time_and_begun_anew() -> None:
    several = [asked("engine", "identifier_22", 0x1001 + n, word) for n, word in enumerate(SIGNALS)]
    car = Car(several)
    car.want(*SIGNALS)
    (long,) = car.send(1.0)
    assert len(long.frames) == 2
    after = anew(car, *several, now=1.01, words=SIGNALS)
    after.hear("30 00 00", 1.02)
    assert after.asking.parts(1.03) == []
    assert names(after, 1.5) == []
    assert len(names(after, 2.1)) == len(SIGNALS)


def test_no_bus_gets_more_for_it() -> None:
    requests = [asked("engine", "identifier_22", 0x1001, "engine.speed"), *others()]
    car, sent, now = Car(requests), 0, 0.0
    while now < 1.0:
        car = anew(car, *requests, now=now, words=SIGNALS)
        sent += len(car.send(now))
        now += 0.001
    assert 0 < sent <= 40


def others() -> list[PollRequest]:
    return [
        asked(unit, protocol, 0x10, word)
        for unit, protocol, word in zip(
            ("charge", "exhaust", "slow"), ("made_up", "made_up", "identifier_22"), SIGNALS[1:4], strict=True
        )
    ]


SIGNALS = ("engine.speed", "vehicle.speed", "engine.load", "engine.throttle")


def test_a_car_without_requests_takes_nothing_over() -> None:
    store = Store(CATALOGUE)
    compiled = compile_polls(CAR, [], (), store)
    car = Car([TURNS])
    car.want("engine.speed")
    car.send(1.0)
    assert Asking(compiled.polls).take_over(car.asking) == []
