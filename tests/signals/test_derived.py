from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pytest

from underdash.contract.signals import Age, Quality, Reading, Value
from underdash.contract.sources import Derived, Result
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.derived import DerivedRunner, ordered
from underdash.signals.store import Rank, Store

BOOST = "engine.boost_pressure"
MANIFOLD = "engine.manifold_pressure"
AMBIENT = "ambient.pressure"
Step = Callable[[Any, Mapping[str, Reading], float], tuple[Any, Result | None]]


def difference(state: Any, inputs: Mapping[str, Reading], dt_s: float) -> tuple[Any, Result | None]:
    a, b = (reading.value for reading in inputs.values())
    if not isinstance(a, float) or not isinstance(b, float):
        return state, None
    return state, Result(a - b)


def constant(value: Any, quality: Quality = Quality.GOOD) -> Step:
    return lambda state, inputs, dt_s: (state, Result(value, quality))


def resting_on(*names: str) -> Step:
    return lambda state, inputs, dt_s: (state, Result(1.0, Quality.GOOD, names))


def never(owner: str, reason: str) -> None:
    raise AssertionError(reason)


def running(store: Store, *items: Derived) -> DerivedRunner:
    return DerivedRunner([("own", item) for item in items], store, never)


def test_inputs_are_computed_before_what_needs_them_in_one_step() -> None:
    store = Store(CATALOGUE)
    store.slot(MANIFOLD, "poll", Rank.POLL).put(180.0, Quality.GOOD, 10.0)
    boost = Derived(BOOST, (MANIFOLD, AMBIENT), difference)
    ambient = Derived(AMBIENT, (), constant(100.0, Quality.ASSUMED))
    runner = running(store, boost, ambient)
    runner.step(10.0)
    assert store.read(BOOST, 10.0).value == 80.0
    assert store.read(AMBIENT, 10.0).quality is Quality.ASSUMED
    assert store.read(BOOST, 10.0).source == "derived by own"
    assert runner.derived() == [ambient, boost]


def test_a_circle_is_refused_with_its_members_and_the_rest_is_computed() -> None:
    store = Store(CATALOGUE)
    a = Derived(BOOST, (MANIFOLD,), constant(1.0))
    b = Derived(MANIFOLD, (BOOST,), constant(1.0))
    free = Derived(AMBIENT, (MANIFOLD,), constant(99.0))
    runner = DerivedRunner([("one", a), ("two", b), ("three", free)], store, never)
    assert {(p.owner, p.signal) for p in runner.problems} == {("one", BOOST), ("two", MANIFOLD)}
    assert all(BOOST in p.reason and MANIFOLD in p.reason for p in runner.problems)
    runner.step(0.0)
    assert store.names() == [AMBIENT]


def test_a_signal_that_needs_itself_is_a_circle() -> None:
    kept, problems = ordered([("own", Derived(BOOST, (BOOST,), constant(1.0)))])
    assert kept == []
    assert [p.signal for p in problems] == [BOOST]


def test_an_undeclared_signal_is_a_problem_and_not_computed() -> None:
    runner = running(Store(CATALOGUE), Derived("warp.factor", (), constant(1.0)))
    assert "declare it in a plug-in's signals hook" in runner.problems[0].reason


def test_it_is_computed_at_most_once_a_period_and_on_change_only_until_the_idle_time_is_over() -> None:
    store = Store(CATALOGUE)
    slot = store.slot(MANIFOLD, "poll", Rank.POLL)
    calls: list[float] = []

    def step(state: Any, inputs: Mapping[str, Reading], dt_s: float) -> tuple[Any, Result | None]:
        calls.append(dt_s)
        return state, Result(1.0)

    runner = running(store, Derived(BOOST, (MANIFOLD,), step, period_s=0.1))
    slot.put(100.0, Quality.GOOD, 0.0)
    runner.step(0.0)
    slot.put(101.0, Quality.GOOD, 0.05)
    runner.step(0.05)
    assert calls == [0.0]
    runner.step(0.1)
    assert calls == [0.0, pytest.approx(0.1)]
    runner.step(0.2)
    runner.step(0.3)
    assert len(calls) == 2
    runner.step(0.36)
    assert calls[2:] == [pytest.approx(0.26)]


def test_a_caller_that_ticks_with_the_period_and_is_a_little_early_skips_nothing() -> None:
    store = Store(CATALOGUE)
    calls: list[float] = []

    def step(state: Any, inputs: Mapping[str, Reading], dt_s: float) -> tuple[Any, Result | None]:
        calls.append(dt_s)
        return state, Result(1.0)

    slot = store.slot(MANIFOLD, "poll", Rank.POLL)
    runner = running(store, Derived(BOOST, (MANIFOLD,), step, period_s=0.04))
    for tick in range(10):
        now = tick * 0.0395
        slot.put(100.0 + tick, Quality.GOOD, now)
        runner.step(now)
    assert len(calls) == 10


def test_a_change_of_quality_alone_is_a_change() -> None:
    store = Store(CATALOGUE)
    slot = store.slot(MANIFOLD, "poll", Rank.POLL)

    def passed_on(state: Any, inputs: Mapping[str, Reading], dt_s: float) -> tuple[Any, Result | None]:
        return state, Result(1.0, inputs[MANIFOLD].quality)

    runner = running(store, Derived(BOOST, (MANIFOLD,), passed_on, period_s=0.0))
    for now, quality in ((0.0, Quality.GOOD), (0.1, Quality.ABOVE)):
        slot.put(100.0, quality, now)
        runner.step(now)
        assert store.read(BOOST, now).quality is quality


def test_a_state_is_carried_from_step_to_step() -> None:
    store = Store(CATALOGUE)

    def count(state: int, inputs: Mapping[str, Reading], dt_s: float) -> tuple[int, Result | None]:
        return state + 1, Result(float(state))

    runner = running(store, Derived(BOOST, (), count, state=5, period_s=0.0))
    for now in (0.0, 1.0, 2.0):
        runner.step(now)
    assert store.read(BOOST, 2.0).value == 7.0


def test_no_result_takes_the_value_away_at_once() -> None:
    store = Store(CATALOGUE)
    slot = store.slot(MANIFOLD, "poll", Rank.POLL)
    store.slot(AMBIENT, "poll", Rank.POLL, period_s=60.0).put(100.0, Quality.GOOD, 0.0)
    runner = running(store, Derived(BOOST, (MANIFOLD, AMBIENT), difference))
    slot.put(150.0, Quality.GOOD, 0.0)
    runner.step(0.0)
    assert store.read(BOOST, 0.1).value == 50.0
    runner.step(3.0)
    assert store.read(BOOST, 3.0).age is Age.GONE


def test_a_value_is_late_while_an_input_is_late_and_as_old_as_that_input() -> None:
    store = Store(CATALOGUE)
    store.slot(MANIFOLD, "poll", Rank.POLL).put(150.0, Quality.GOOD, 0.0)
    store.slot(AMBIENT, "poll", Rank.POLL, period_s=60.0).put(100.0, Quality.GOOD, 0.0)
    runner = running(store, Derived(BOOST, (MANIFOLD, AMBIENT), difference))
    for now in (0.0, 0.3, 0.5, 1.0, 1.4):
        runner.step(now)
        reading = store.read(BOOST, now)
        assert reading.age is (Age.FRESH if now <= 0.4 else Age.LATE), now
        assert reading.seconds_old == pytest.approx(0.0 if now <= 0.4 else now)


def test_only_the_inputs_a_result_rests_on_decide_how_old_it_is() -> None:
    store = Store(CATALOGUE)
    for name in (MANIFOLD, AMBIENT):
        store.slot(name, "poll", Rank.POLL, period_s=60.0 if name == AMBIENT else 0.1).put(100.0, Quality.GOOD, 0.0)
    ages = {}
    for rests_on in ((AMBIENT,), (MANIFOLD, AMBIENT)):
        runner = running(store, Derived(BOOST, (MANIFOLD, AMBIENT), resting_on(*rests_on)))
        runner.step(1.0)
        ages[rests_on] = store.read(BOOST, 1.0).age
        runner.close()
    assert ages == {(AMBIENT,): Age.FRESH, (MANIFOLD, AMBIENT): Age.LATE}


def test_slow_inputs_do_not_make_a_result_late() -> None:
    store = Store(CATALOGUE)
    store.slot(MANIFOLD, "poll", Rank.POLL, period_s=5.0).put(150.0, Quality.GOOD, 0.0)
    store.slot(AMBIENT, "poll", Rank.POLL, period_s=60.0).put(100.0, Quality.GOOD, 0.0)
    runner = running(store, Derived(BOOST, (MANIFOLD, AMBIENT), difference))
    for step in range(40):
        runner.step(step * 0.25)
        assert store.read(BOOST, step * 0.25).age is Age.FRESH


class UnspeakableError(Exception):
    def __str__(self) -> str:
        raise ValueError("not even that")


@pytest.mark.parametrize("exit_with", [ValueError("no"), SystemExit(3), UnspeakableError()])
def test_three_failures_suspend_the_plugin_and_take_all_its_signals_away(exit_with: BaseException) -> None:
    store = Store(CATALOGUE)
    suspended: list[tuple[str, str]] = []

    def failing(state: Any, inputs: Mapping[str, Reading], dt_s: float) -> tuple[Any, Result | None]:
        raise exit_with

    items = [
        ("bad", Derived(BOOST, (), failing)),
        ("bad", Derived(MANIFOLD, (), constant(100.0))),
        ("good", Derived(AMBIENT, (), constant(100.0))),
    ]
    runner = DerivedRunner(items, store, lambda owner, reason: suspended.append((owner, reason)))
    for now in (0.0, 1.0):
        runner.step(now)
        assert store.read(BOOST, now).age is Age.GONE
        assert store.read(MANIFOLD, now).age is Age.FRESH
    assert suspended == []
    runner.step(2.0)
    assert suspended[0][0] == "bad"
    assert BOOST in suspended[0][1]
    assert type(exit_with).__name__ in suspended[0][1]
    runner.step(3.0)
    assert store.names() == [AMBIENT]
    assert len(suspended) == 1


@pytest.mark.parametrize(
    ("signal", "value"),
    [(BOOST, "much"), (BOOST, True), ("engine.running", 1.0), ("vehicle.ignition", "ONN"), ("gearbox.selector", 2.0)],
)
def test_a_value_that_does_not_fit_the_signal_is_a_failure(signal: str, value: Value) -> None:
    store = Store(CATALOGUE)
    suspended: list[str] = []
    runner = DerivedRunner(
        [("own", Derived(signal, (), constant(value)))], store, lambda owner, reason: suspended.append(reason)
    )
    for now in (0.0, 1.0, 2.0):
        runner.step(now)
    assert repr(value) in suspended[0]


def test_a_step_that_returns_a_bare_number_is_told_what_to_return() -> None:
    suspended: list[str] = []
    bare: Any = lambda state, inputs, dt_s: (state, 3.0)  # noqa: E731
    runner = DerivedRunner(
        [("own", Derived(BOOST, (), bare))], Store(CATALOGUE), lambda o, reason: suspended.append(reason)
    )
    for now in (0.0, 1.0, 2.0):
        runner.step(now)
    assert "a step returns (state, Result or None)" in suspended[0]


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_number_that_is_none_reads_as_gone_and_a_whole_number_as_a_number(value: float) -> None:
    store = Store(CATALOGUE)
    runner = running(store, Derived(BOOST, (), constant(value)), Derived(AMBIENT, (), constant(100)))
    runner.step(0.0)
    assert store.read(BOOST, 0.0).age is Age.GONE
    assert store.read(AMBIENT, 0.0).text == "100"


def test_a_closed_runner_leaves_nothing_in_the_store() -> None:
    store = Store(CATALOGUE)
    runner = running(store, Derived(BOOST, (), constant(1.0)))
    runner.close()
    runner.step(0.0)
    assert store.names() == []


def counting(state: int, inputs: Mapping[str, Reading], dt_s: float) -> tuple[int, Result]:
    return state + 1, Result(90.0 + state)


def test_what_a_step_remembers_goes_on_where_its_inputs_do() -> None:
    before, store = Store(CATALOGUE), Store(CATALOGUE)
    one = running(before, Derived(AMBIENT, (MANIFOLD,), counting, 0))
    for now in (10.0, 11.0, 12.0):
        one.step(now)
    other = running(store, Derived(AMBIENT, (MANIFOLD,), counting, 0))
    assert [slot.signal.name for slot in other.take_over(one, lambda name: name == MANIFOLD)] == [AMBIENT]
    assert store.read(AMBIENT, 12.0).value == 92.0
    other.step(12.1)
    assert store.read(AMBIENT, 12.1).value == 92.0, "not before its time"
    other.step(13.0)
    assert store.read(AMBIENT, 13.0).value == 93.0


@pytest.mark.parametrize(
    ("item", "same"),
    [
        (Derived(AMBIENT, (MANIFOLD,), counting, 0), False),
        (Derived(AMBIENT, (), counting, 0), True),
        (Derived(AMBIENT, (MANIFOLD,), constant(7.0), "other"), True),
        (Derived(BOOST, (MANIFOLD,), counting, 0), True),
    ],
)
def test_what_is_computed_from_something_else_begins_anew(item: Derived, same: bool) -> None:
    before, store = Store(CATALOGUE), Store(CATALOGUE)
    one = running(before, Derived(AMBIENT, (MANIFOLD,), counting, 0))
    one.step(10.0)
    assert [*running(store, item).take_over(one, lambda name: same)] == []
    assert store.read(AMBIENT, 10.0).value is None


def test_what_rests_on_something_that_goes_on_goes_on_too() -> None:
    before, store, went_on = Store(CATALOGUE), Store(CATALOGUE), {MANIFOLD}
    items = (Derived(BOOST, (AMBIENT,), counting, 0), Derived(AMBIENT, (MANIFOLD,), counting, 0))
    one = running(before, *items)
    one.step(10.0)
    for slot in running(store, *items).take_over(one, went_on.__contains__):
        went_on.add(slot.signal.name)
    assert went_on == {MANIFOLD, AMBIENT, BOOST}
