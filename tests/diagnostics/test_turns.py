from __future__ import annotations

from math import inf

import pytest

from underdash.bus.refusals import Reason, Refusal
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.requests import ControlUnit
from underdash.diagnostics import obd
from underdash.diagnostics.options import Options
from underdash.diagnostics.requests import compile_polls
from underdash.diagnostics.standing import How, Told, flow_held, held
from underdash.diagnostics.turns import Queue, Turn, wait_text
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store
from underdash.signals.wants import Want, WantKind

UNIT = ControlUnit("engine", "drive", 0x7E0, 0x7E8, answer_within_s=0.1, gap_s=0.01)
OPTIONS = Options()
PAGE = Want(WantKind.PAGE, 0.5)


def turn(pid: int = 0x0C, period_s: float = 0.5) -> Turn:
    car = CarDescription("any", "Any", (BusDescription("drive", 500_000),), (UNIT,))
    (poll,) = compile_polls(car, [obd.poll("engine", pid, period_s)], (), Store(CATALOGUE)).polls
    made = Turn(poll, Queue(UNIT))
    made.queue.turns.append(made)
    return made


def test_what_nobody_wants_is_never_due() -> None:
    assert turn().due_at() == inf


def test_it_is_due_a_period_after_it_was_asked_and_not_more_often_than_its_own() -> None:
    one = turn(period_s=0.5)
    one.want(Want(WantKind.PAGE, 0.1), 10.0, OPTIONS)
    one.asked(10.0)
    assert one.due_at() == 10.5
    one.want(Want(WantKind.PAGE, 2.0), 10.0, OPTIONS)
    assert one.due_at() == 12.0


@pytest.mark.parametrize(("kind", "weight"), [(WantKind.PAGE, 4.0), (WantKind.ALERT, 2.0), (WantKind.RECORDER, 1.0)])
def test_urgency_is_age_by_period_by_weight(kind: WantKind, weight: float) -> None:
    one = turn()
    one.want(Want(kind, 0.5), 0.0, OPTIONS)
    one.asked(0.0)
    assert one.urgency(1.0, OPTIONS) == pytest.approx(weight * 2.0)


def test_an_alert_that_waited_long_counts_far_more() -> None:
    one = turn()
    one.want(Want(WantKind.ALERT, 0.5), 0.0, OPTIONS)
    one.asked(0.0)
    assert one.urgency(1.9, OPTIONS) == pytest.approx(2.0 * 3.8)
    assert one.urgency(2.0, OPTIONS) == pytest.approx(2.0 * 4.0 * 16.0)


def test_what_is_new_on_a_page_is_urgent_but_not_for_ever() -> None:
    one = turn()
    one.want(PAGE, 1000.0, OPTIONS)
    assert one.urgency(1000.0, OPTIONS) == pytest.approx(4.0 * 20.0)
    one.asked(1000.0)
    one.want(Want(WantKind.HIDDEN, 5.0), 1000.1, OPTIONS)
    one.want(PAGE, 1000.2, OPTIONS)
    assert one.due_at() == 1000.5, "it was asked for just now"
    one.want(None, 1001.0, OPTIONS)
    one.want(PAGE, 9000.0, OPTIONS)
    assert one.urgency(9000.0, OPTIONS) == pytest.approx(80.0), "hours without a wish do not pile up"


def test_a_missed_answer_is_forgiven_once_and_then_asked_for_more_and_more_rarely() -> None:
    one = turn()
    one.want(PAGE, 0.0, OPTIONS)
    pauses = []
    for number in range(5):
        one.asked(number * 100.0)
        one.missed(number * 100.0, OPTIONS)
        pauses.append(one.due_at() - number * 100.0)
    assert pauses == [0.5, 1.0, 2.0, 4.0, 8.0]
    one.answered(500.0)
    assert one.misses == 0


def test_a_unit_that_stays_busy_is_asked_less_and_less() -> None:
    one = turn()
    one.want(PAGE, 0.0, OPTIONS)
    pauses = []
    for _ in range(5):
        one.put_off(Told(How.BUSY, "busy"), True, 0.0, OPTIONS)
        pauses.append(one.not_before)
    assert pauses == [0.25, 0.5, 1.0, 2.0, 2.0]


def test_a_unit_that_stays_silent_is_left_alone_longer_and_longer() -> None:
    one = turn()
    queue = one.queue
    pauses = []
    for number in range(6):
        now = number * 100.0
        queue.opened(one.poll, [one], now)
        assert queue.expire(now + 0.09, OPTIONS) is None
        assert queue.expire(now + 0.1, OPTIONS) == (one.poll, (one,))
        pauses.append(round(queue.free_at - now, 3))
    assert pauses == [0.01, 0.01, 1.1, 2.1, 4.1, 8.1]
    queue.heard(500.2, close=False)
    assert (queue.misses, queue.free_at) == (0, 500.2), "it lives"


def test_a_unit_that_is_still_working_gets_five_seconds_but_not_for_ever() -> None:
    one = turn()
    one.queue.opened(one.poll, [one], 100.0)
    one.queue.extend(100.05, OPTIONS.pending_s, OPTIONS)
    assert one.queue.deadline == pytest.approx(105.05)
    one.queue.extend(128.0, OPTIONS.pending_s, OPTIONS)
    assert one.queue.deadline == 130.0


def test_times_to_wait_are_told_only_while_there_is_something_to_wait_for() -> None:
    assert wait_text(12.5, 10.0) == "; asked again in 2.5 s"
    assert wait_text(9.0, 10.0) == ""
    assert wait_text(inf, 10.0) == ""


# --- how it stands ----------------------------------------------------------------------------------------------

LOAD = Refusal(Reason.LOAD, "drive: too much")


def stands(one: Turn, now: float) -> tuple[How, str]:
    told = one.told(now + 1.5, now, OPTIONS)
    return told.how, told.text


def test_what_it_means_and_what_is_said_go_together() -> None:
    one = turn()
    assert stands(one, 0.0) == (How.UNWANTED, "not asked, nobody wants it")
    one.want(PAGE, 0.0, OPTIONS)
    assert stands(one, 0.0) == (How.WAITING, "waits for its turn; asked again in 1.5 s")
    one.held = held(LOAD)
    assert stands(one, 0.0) == (How.HELD, "not sent: drive: too much")
    assert one.told(0.0, 0.0, OPTIONS).reason is Reason.LOAD
    one.queue.opened(one.poll, [one], 1.0)
    one.asked(1.0)
    assert stands(one, 1.05) == (How.WAITING, "asked 0.05 s ago, no answer yet")
    one.note = flow_held("engine", LOAD)
    how, text = stands(one, 1.05)
    assert (how, "engine does not go on" in text, "drive: too much" in text) == (How.FLOW_HELD, True, True)
    one.answered(1.06)
    one.queue.close()
    assert stands(one, 1.16) == (How.ANSWERED, "answered 0.10 s ago")
    one.put_off(Told(How.BUSY, "engine says it is busy"), True, 2.0, OPTIONS)
    assert stands(one, 2.0) == (How.BUSY, "engine says it is busy; asked again in 0.2 s")
    one.parked = "engine says no"
    assert stands(one, 2.0) == (How.PARKED, "engine says no; it is not asked again this journey")


def test_while_it_is_asked_again_the_last_time_still_counts() -> None:
    one = turn()
    one.want(PAGE, 0.0, OPTIONS)
    one.note = Told(How.SHORT, "its answer has 1 bytes")
    one.asked(5.0)
    one.queue.opened(one.poll, [one], 5.0)
    assert stands(one, 5.0) == (How.SHORT, "asked 0.00 s ago, no answer yet; the last time: its answer has 1 bytes")
    one.misses = 2
    assert stands(one, 5.0)[0] is How.SILENT
    one.answered(5.1)
    one.queue.close()
    assert stands(one, 5.1) == (How.ANSWERED, "answered 0.00 s ago")
