from __future__ import annotations

import heapq
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.bus.refusals import Reason, Refusal
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.contract.signals import Signal
from underdash.diagnostics import obd
from underdash.diagnostics.options import Options
from underdash.diagnostics.parameters import own_signals
from underdash.diagnostics.polls import CompiledPoll, Lane
from underdash.diagnostics.requests import compile_polls
from underdash.diagnostics.scheduler import Scheduler
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store
from underdash.signals.wants import Want, WantKind

BUSES = (BusDescription("drive", 500_000), BusDescription("comfort", 125_000))
LIFTED = Options(requests_per_s=None, most_a_request=1)
KINDS = list(WantKind)


def unit(number: int, bus: str = "drive") -> ControlUnit:
    return ControlUnit(f"unit_{number}", bus, 0x7E0 + number, 0x7E8 + number, answer_within_s=0.1)


@dataclass(frozen=True)
class Wish:
    """A made-up signal: which unit has it, who wants it, how often."""

    unit: int
    kind: WantKind = WantKind.PAGE
    period_s: float = 0.05


def polls_of(wishes: Iterable[Wish], bus: Callable[[int], str] = lambda n: "drive") -> list[CompiledPoll]:
    wishes = list(wishes)
    units = tuple(unit(number, bus(number)) for number in sorted({wish.unit for wish in wishes}))
    signals = {f"s.{n}": Signal(f"s.{n}", "", "made up") for n in range(len(wishes))}
    requests = [
        PollRequest(f"unit_{wish.unit}", "identifier_22", n, (Field(f"s.{n}", Bits(0)),), wish.period_s)
        for n, wish in enumerate(wishes)
    ]
    found = compile_polls(CarDescription("any", "Any", BUSES, units), requests, (), Store(signals), signals)
    assert found.problems == []
    return found.polls


def wants_of(wishes: Iterable[Wish]) -> dict[str, Want]:
    return {f"s.{n}": Want(wish.kind, wish.period_s) for n, wish in enumerate(wishes)}


Reply = Callable[[CompiledPoll, float], list[tuple[float, str, int]]]
"""What a unit does with a request: (delay, "answer" or "negative", code)."""


def answers_in(seconds: float) -> Reply:
    return lambda poll, now: [(seconds, "answer", 0)]


@dataclass
class Run:
    """A scheduler and its units in simulated time; it checks at every step what must hold at every step."""

    scheduler: Scheduler
    reply: Reply
    sent: list[tuple[float, CompiledPoll]] = field(default_factory=list)
    heard: list[tuple[float, CompiledPoll]] = field(default_factory=list)
    now: float = 0.0
    most_open: int = 0
    _lanes: set[Lane] = field(default_factory=set)
    _coming: list[tuple[float, int, CompiledPoll, str, int]] = field(default_factory=list)

    def until(self, end: float) -> Run:
        same = 0
        while self.now < end:
            self._deliver()
            before = self.now
            for request in self.scheduler.next(self.now):
                (poll,) = request.polls
                assert self.scheduler.open_on(poll.lane) is None, "two requests open at one unit"
                self.scheduler.sent(poll, self.now)
                self.sent.append((self.now, poll))
                self._lanes.add(poll.lane)
                for delay, kind, code in self.reply(poll, self.now):
                    heapq.heappush(self._coming, (self.now + delay, len(self.sent), poll, kind, code))
            self.most_open = max(self.most_open, sum(self.scheduler.open_on(lane) is not None for lane in self._lanes))
            times = [time for time in (self.scheduler.deadline(self.now), self._next_answer()) if time is not None]
            self.now = min([*times, end])
            same = same + 1 if self.now == before else 0
            assert same < 20, "time stands still"
        return self

    def _next_answer(self) -> float | None:
        return self._coming[0][0] if self._coming else None

    def _deliver(self) -> None:
        while self._coming and self._coming[0][0] <= self.now:
            _, _, poll, kind, code = heapq.heappop(self._coming)
            if kind == "answer":
                self.scheduler.answered(poll, self.now)
                self.heard.append((self.now, poll))
            elif self.scheduler.open_on(poll.lane) is poll:
                self.scheduler.negative(poll, code, self.now)

    def times(self, poll: CompiledPoll) -> list[float]:
        return [at for at, sent in self.sent if sent is poll]


def started(wishes: list[Wish], reply: Reply, options: Options = LIFTED) -> tuple[Run, list[CompiledPoll]]:
    polls = polls_of(wishes)
    run = Run(Scheduler(polls, options), reply)
    run.scheduler.demand(wants_of(wishes), 0.0)
    return run, polls


# --- promises that hold whatever happens ------------------------------------------------------------------------

wishes_made = st.lists(
    st.builds(Wish, st.integers(0, 2), st.sampled_from(KINDS), st.sampled_from([0.2, 0.5, 1.0])), min_size=1, max_size=6
)


def bound_s(wishes: list[Wish], index: int, turn_s: float, options: Options) -> float:
    """How long a wish can wait, from the arithmetic of urgency.

    While its age goes from A/2 to A, another one can go first at most A/2 divided by the age it needs for the same
    urgency, and twice more for the edges. A turn takes `turn_s`.
    """

    def slope(wish: Wish, overdue: bool) -> float:
        raised = options.overdue if overdue and wish.kind is WantKind.ALERT else 1.0
        return options.weights[wish.kind] * raised / wish.period_s

    mine = slope(wishes[index], overdue=False)
    others = (slope(wish, overdue=True) for n, wish in enumerate(wishes) if n != index)
    return wishes[index].period_s + 2 * turn_s * sum(other / mine + 2 for other in others) + turn_s


# one or two units that answer so slowly that there is never time for everything
too_many = st.lists(
    st.builds(Wish, st.integers(0, 1), st.sampled_from(KINDS), st.sampled_from([0.1, 0.3])), min_size=3, max_size=6
)


@settings(max_examples=20, deadline=None)
@given(too_many, st.sampled_from([None, 8.0]))
def test_nothing_starves(wishes: list[Wish], per_s: float | None) -> None:
    latency_s = 0.09
    options = Options(requests_per_s=per_s, most_a_request=1)
    run, polls = started(wishes, answers_in(latency_s), options)
    # a unit that is free waits for the bus: a millisecond a request, with a cap up to what a burst has used up
    turn_s = latency_s + 0.001 * len(wishes) + (0.0 if per_s is None else (options.burst + 1) / per_s)
    bounds = [bound_s(wishes, n, turn_s, options) for n in range(len(wishes))]
    end = min(1.2 * max(bounds) + 1.0, 300.0)
    run.until(end)
    for poll, bound in zip(polls, bounds, strict=True):
        times = [0.0, *run.times(poll), end]
        assert max(b - a for a, b in pairwise(times)) <= min(bound + 1e-6, 299.0)


behaviours = st.lists(
    st.sampled_from(["answer", "late", "silent", "busy", "pending", "parked", "slowly", "twice"]),
    min_size=1,
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(wishes_made, behaviours, st.sampled_from([None, 10.0, 40.0]))
def test_whatever_units_do_one_request_is_open_at_each_and_the_caps_hold(
    wishes: list[Wish], plan: list[str], per_s: float | None
) -> None:
    count = 0

    def reply(poll: CompiledPoll, now: float) -> list[tuple[float, str, int]]:
        nonlocal count
        count += 1
        return {
            "answer": [(0.01, "answer", 0)],
            "late": [(0.3, "answer", 0)],
            "silent": [],
            "busy": [(0.01, "negative", 0x21)],
            "pending": [(0.01, "negative", 0x78), (2.0, "answer", 0)],
            "parked": [(0.01, "negative", 0x31)],
            "slowly": [(0.01, "negative", 0x22)],
            "twice": [(0.01, "answer", 0), (0.02, "answer", 0)],
        }[plan[count % len(plan)]]

    run, _ = started(wishes, reply, Options(requests_per_s=per_s, most_a_request=1))
    run.until(20.0)  # `Run` checks that no unit is asked twice at once
    by_unit: dict[str, list[float]] = defaultdict(list)
    for at, poll in run.sent:
        by_unit[poll.unit.name].append(at)
    for times in by_unit.values():
        assert all(b - a >= 0.005 - 1e-9 for a, b in pairwise(times))
    for at, _ in run.sent:
        assert per_s is None or sum(at <= other < at + 1.0 for other, _ in run.sent) <= per_s


# --- demand -----------------------------------------------------------------------------------------------------


def test_without_a_wish_nothing_is_asked_and_nothing_is_due() -> None:
    scheduler = Scheduler(polls_of([Wish(0)]))
    assert scheduler.next(100.0) == []
    assert scheduler.deadline(100.0) is None


def test_a_wish_that_ends_ends_the_asking() -> None:
    run, _ = started([Wish(0)], answers_in(0.01))
    run.until(1.0)
    run.scheduler.demand({}, run.now)
    before = len(run.sent)
    run.until(5.0)
    assert len(run.sent) == before
    assert run.scheduler.deadline(run.now) is None


def test_what_is_wanted_comes_at_its_period() -> None:
    run, (fast, slow) = started([Wish(0, period_s=0.1), Wish(0, period_s=1.0)], answers_in(0.01))
    run.until(10.0)
    assert 95 <= len(run.times(fast)) <= 101
    assert 9 <= len(run.times(slow)) <= 11


def test_a_busy_unit_gives_the_page_more_than_the_recorder_and_the_recorder_more_than_what_is_hidden() -> None:
    wishes = [Wish(0, kind, 0.05) for kind in (WantKind.PAGE, WantKind.RECORDER, WantKind.HIDDEN)]
    run, polls = started(wishes, answers_in(0.1 - 0.001))
    run.until(60.0)
    page, recorder, hidden = (len(run.times(poll)) for poll in polls)
    assert page > 1.5 * recorder > 1.5 * hidden > 0


def test_an_alert_keeps_its_least_rate_beside_a_page_that_takes_all_there_is() -> None:
    wishes = [*(Wish(0, WantKind.PAGE, 0.05) for _ in range(8)), Wish(0, WantKind.ALERT, 1.0)]
    run, polls = started(wishes, answers_in(0.09))
    run.until(60.0)
    gaps = [b - a for a, b in pairwise(run.times(polls[-1]))]
    assert max(gaps) <= LIFTED.alert_at_least_s + 10 * 0.1


def test_turning_to_a_page_asks_for_its_values_at_once() -> None:
    wishes = [*(Wish(0, WantKind.RECORDER, 0.05) for _ in range(6)), Wish(0, WantKind.PAGE, 0.05)]
    polls = polls_of(wishes)
    run = Run(Scheduler(polls, LIFTED), answers_in(0.02))
    hidden = wants_of(wishes)
    hidden["s.6"] = Want(WantKind.HIDDEN, 5.0)
    run.scheduler.demand(hidden, 0.0)
    run.until(31.0)
    turned = run.now
    run.scheduler.demand(wants_of(wishes), turned)
    run.until(32.0)
    first = next(at for at in run.times(polls[6]) if at >= turned)
    assert first - turned <= 0.025


def test_a_driver_can_ask_for_a_value_now() -> None:
    run, (poll,) = started([Wish(0, period_s=30.0)], answers_in(0.01))
    run.until(5.0)
    assert len(run.times(poll)) == 1
    run.scheduler.ask_now(["s.0"], run.now)
    assert run.scheduler.next(run.now) == [poll]


def test_what_is_asked_once_is_asked_until_it_is_answered_and_again_on_the_next_journey() -> None:
    polls = [replace(poll, once=True) for poll in polls_of([Wish(0, period_s=0.1)])]
    silent_until = 1.0
    run = Run(Scheduler(polls, LIFTED), lambda poll, now: [(0.01, "answer", 0)] if now > silent_until else [])
    run.scheduler.demand({"s.0": Want(WantKind.RECORDER, 0.1)}, 0.0)
    run.until(30.0)
    assert len(run.heard) == 1
    run.scheduler.new_journey(run.now)
    run.until(60.0)
    assert len(run.heard) == 2


# --- several units ----------------------------------------------------------------------------------------------


def test_three_units_overlap_fully() -> None:
    latency_s, seconds = 0.05, 20.0
    alone, _ = started([Wish(0, period_s=0.001)], answers_in(latency_s))
    alone.until(seconds)
    together, _ = started([Wish(n, period_s=0.001) for n in range(3)], answers_in(latency_s))
    together.until(seconds)
    assert together.most_open == 3
    assert len(together.heard) >= 0.98 * 3 * len(alone.heard)


def test_twelve_identifiers_of_one_unit_reach_what_a_sequential_loop_could() -> None:
    latency_s, seconds = 0.008, 20.0
    run, _ = started([Wish(0, period_s=0.001) for _ in range(12)], answers_in(latency_s))
    run.until(seconds)
    assert len(run.heard) >= 0.95 * seconds / latency_s


def test_a_silent_unit_costs_the_others_nothing_and_is_asked_more_and_more_rarely() -> None:
    wishes = [Wish(0), Wish(1)]
    run, (dead, alive) = started(wishes, lambda poll, now: [] if poll.unit.name == "unit_0" else [(0.01, "answer", 0)])
    run.until(120.0)
    assert len(run.times(alive)) >= 0.98 * 120.0 / 0.05
    gaps = [b - a for a, b in pairwise(run.times(dead))]
    assert len(gaps) < 15
    assert all(later >= earlier - 1e-9 for earlier, later in pairwise(gaps))
    assert max(gaps) <= LIFTED.back_off_most_s + 0.2


def test_a_unit_that_comes_back_is_asked_at_the_full_rate_again() -> None:
    run, (poll,) = started([Wish(0)], lambda poll, now: [(0.01, "answer", 0)] if now > 20.0 else [])
    run.until(100.0)
    assert len([at for at in run.times(poll) if at > 60.0]) >= 0.98 * 40.0 / 0.05


def test_one_identifier_a_unit_ignores_does_not_make_the_unit_silent() -> None:
    run, (ignored, good) = started(
        [Wish(0), Wish(0)], lambda poll, now: [] if poll.identifier == 0 else [(0.01, "answer", 0)]
    )
    run.until(60.0)
    assert len(run.times(good)) >= 0.9 * 60.0 / 0.05
    assert len(run.times(ignored)) < 12


def test_the_cap_is_shared_by_urgency_and_not_by_unit() -> None:
    wishes = [Wish(0, WantKind.PAGE, 0.01), Wish(1, WantKind.RECORDER, 0.01)]
    run, (page, recorder) = started(wishes, answers_in(0.005), Options(requests_per_s=20.0, most_a_request=1))
    run.until(30.0)
    assert len(run.times(page)) > 2 * len(run.times(recorder)) > 0


def test_buses_have_their_own_caps() -> None:
    polls = polls_of([Wish(0, period_s=0.01), Wish(1, period_s=0.01)], lambda n: ("drive", "comfort")[n])
    run = Run(Scheduler(polls, Options(requests_per_s=20.0, most_a_request=1)), answers_in(0.005))
    run.scheduler.demand(wants_of([Wish(0, period_s=0.01)] * 2), 0.0)
    run.until(10.0)
    counts = Counter(poll.bus for _, poll in run.sent)
    assert all(190 <= count <= 205 for count in counts.values())


# --- answers ----------------------------------------------------------------------------------------------------


def test_a_late_answer_is_not_taken_for_the_one_to_a_later_request() -> None:
    run, (first, second) = started([Wish(0), Wish(0)], lambda poll, now: [])
    scheduler = run.scheduler
    assert scheduler.next(0.0) == [first]
    scheduler.sent(first, 0.0)
    assert scheduler.next(0.1) == [second], "the first ran out of time"
    scheduler.sent(second, 0.1)
    assert not scheduler.answered(first, 0.11)
    assert scheduler.open_on(second.lane) is second
    assert scheduler.answered(second, 0.12)
    assert scheduler.open_on(second.lane) is None


def test_an_answer_to_another_tester_spares_the_asking() -> None:
    run, (poll,) = started([Wish(0, period_s=1.0)], answers_in(0.01))
    run.until(1.5)
    before = len(run.sent)
    for tenth in range(15, 60):
        run.scheduler.answered(poll, tenth / 10)
        run.until(tenth / 10 + 0.09)
    assert len(run.sent) == before


def test_pending_extends_the_clock_and_nothing_else_is_asked_meanwhile() -> None:
    run, (slow, other) = started(
        [Wish(0), Wish(0)],
        lambda poll, now: (
            [(0.01, "negative", 0x78), (4.0, "answer", 0)] if poll.identifier == 0 else [(0.01, "answer", 0)]
        ),
    )
    run.until(3.9)
    assert run.sent == [(0.0, slow)]
    run.until(4.05)
    assert run.heard[0][1] is slow
    assert run.times(other)


def test_a_unit_that_only_ever_says_pending_is_given_up() -> None:
    run, _ = started([Wish(0)], lambda poll, now: [(2.0 * n, "negative", 0x78) for n in range(40)])
    run.until(29.0)
    assert len(run.sent) == 1
    run.until(31.0)
    assert len(run.sent) == 2


@pytest.mark.parametrize("code", [0x11, 0x12, 0x31, 0x7E, 0x7F, 0x33])
def test_what_is_not_supported_is_not_asked_again_this_journey_and_says_so(code: int) -> None:
    run, (poll,) = started([Wish(0)], lambda poll, now: [(0.01, "negative", code)])
    run.until(600.0)
    assert len(run.sent) == 1
    told = run.scheduler.told(poll, run.now).text
    assert "unit_0 says" in told
    assert f"code {code:02X})" in told
    assert "not asked again this journey" in told
    run.scheduler.new_journey(run.now)
    run.until(601.0)
    assert len(run.sent) == 2


def test_a_busy_unit_is_asked_again_soon_and_one_with_wrong_conditions_rarely() -> None:
    for code, least, most in ((0x21, 30, 60), (0x22, 12, 14)):
        run, _ = started([Wish(0)], lambda poll, now, code=code: [(0.01, "negative", code)])  # type: ignore[misc]
        run.until(60.0)
        assert least <= len(run.sent) <= most


def test_a_second_request_for_a_signal_is_asked_only_once_the_first_is_parked() -> None:
    engine = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
    signals = {"s.0": Signal("s.0", "", "made up")}
    requests = [PollRequest("engine", "identifier_22", n, (Field("s.0", Bits(0)),), 0.1) for n in (1, 2)]
    first, second = compile_polls(
        CarDescription("a", "A", BUSES, (engine,)), requests, (), Store(signals), signals
    ).polls
    run = Run(
        Scheduler([first, second], LIFTED),
        lambda poll, now: [(0.01, "negative", 0x31)] if poll is first and now > 5.0 else [(0.01, "answer", 0)],
    )
    run.scheduler.demand({"s.0": Want(WantKind.PAGE, 0.1)}, 0.0)
    run.until(5.0)
    assert run.times(second) == []
    run.until(10.0)
    assert len(run.times(second)) > 40


def test_a_scale_is_asked_for_before_what_it_scales() -> None:
    engine = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
    car = CarDescription("a", "A", BUSES, (engine,))
    signals = CATALOGUE.with_signals(own_signals())
    pressure, scales = compile_polls(car, obd.polls("engine", [0x0B, 0x4F]), (), Store(signals), signals).polls
    run = Run(Scheduler([pressure, scales], LIFTED), answers_in(0.01))
    run.scheduler.demand({"engine.manifold_pressure": Want(WantKind.PAGE, 0.5)}, 0.0)
    run.until(10.0)
    assert run.sent[0][1] is scales
    assert len(run.times(scales)) == 1
    assert len(run.times(pressure)) >= 19


# --- the guard --------------------------------------------------------------------------------------------------


def test_a_request_the_guard_holds_back_is_offered_again_and_lets_others_go_first() -> None:
    polls = polls_of([Wish(0), Wish(0)])
    scheduler = Scheduler(polls, LIFTED)
    scheduler.demand(wants_of([Wish(0), Wish(0)]), 0.0)
    refusal = Refusal(Reason.IGNITION, "drive: the ignition is off")
    assert scheduler.next(0.0) == [polls[0]]
    scheduler.refused(polls[0], refusal, 0.0)
    assert scheduler.told(polls[0], 0.0).text == "unit_0 22 0000: not sent: drive: the ignition is off"
    assert scheduler.next(0.0) == [polls[1]]
    scheduler.refused(polls[1], refusal, 0.0)
    assert scheduler.next(0.0) == []
    assert scheduler.deadline(0.0) == 0.5
    assert scheduler.next(0.5) == [polls[0]]


@pytest.mark.parametrize("reason", [Reason.UNCONFIRMED, Reason.ECU_GAP, Reason.RATE, Reason.LOAD])
def test_what_passes_by_itself_delays_a_request_by_milliseconds(reason: Reason) -> None:
    (poll,) = polls_of([Wish(0)])
    scheduler = Scheduler([poll], LIFTED)
    scheduler.demand(wants_of([Wish(0)]), 0.0)
    scheduler.refused(poll, Refusal(reason, "wait"), 0.0)
    due = scheduler.deadline(0.0)
    assert due is not None
    assert 0.0 < due <= 0.025
    assert scheduler.next(due) == [poll]


@pytest.mark.parametrize("reason", [Reason.NO_TEMPLATE, Reason.SERVICE, Reason.MAKER_EVIDENCE, Reason.LOOKS_LIKE])
def test_what_the_guard_never_lets_out_is_not_offered_again(reason: Reason) -> None:
    (poll,) = polls_of([Wish(0)])
    scheduler = Scheduler([poll], LIFTED)
    scheduler.demand(wants_of([Wish(0)]), 0.0)
    scheduler.refused(poll, Refusal(reason, "it writes."), 0.0)
    assert scheduler.deadline(0.0) is None
    assert scheduler.told(poll, 9.0).text.endswith("never sent: it writes; it is not asked again this journey")
