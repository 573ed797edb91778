from __future__ import annotations

import pytest

from underdash.contract.pages import Page
from underdash.contract.signals import Quality
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.memory import POINTS, Memory
from underdash.signals.store import Rank, Store

BOOST = "engine.boost_pressure"


def test_the_peak_holds_until_it_is_reset() -> None:
    store = Store(CATALOGUE)
    memory = Memory(store, peaks=[BOOST, "engine.speed"])
    slot = store.slot(BOOST, "test", Rank.POLL)
    assert memory.peaks() == {}
    for at, value in enumerate((-40.0, 90.0, 20.0)):
        slot.put(value, Quality.GOOD, float(at))
    assert memory.peaks() == {BOOST: 90.0}
    memory.reset("engine.speed")
    memory.reset("vehicle.speed")
    assert memory.peaks() == {BOOST: 90.0}
    memory.reset(BOOST)
    assert memory.peaks() == {}
    slot.put(-30.0, Quality.GOOD, 3.0)
    assert memory.peaks() == {BOOST: -30.0}
    memory.reset()
    assert memory.peaks() == {}


def test_only_the_source_that_counts_is_remembered() -> None:
    store = Store(CATALOGUE)
    memory = Memory(store, peaks=[BOOST])
    better = store.slot(BOOST, "broadcast", Rank.BROADCAST)
    worse = store.slot(BOOST, "poll", Rank.POLL)
    better.put(50.0, Quality.GOOD, 0.0)
    worse.put(80.0, Quality.GOOD, 0.1)
    assert memory.peaks() == {BOOST: 50.0}
    worse.put(70.0, Quality.GOOD, 2.0)
    assert memory.peaks() == {BOOST: 70.0}


def test_a_history_gives_seconds_ago_oldest_first_and_forgets_what_is_older() -> None:
    store = Store(CATALOGUE)
    memory = Memory(store, histories=[(BOOST, 10.0), (BOOST, 30.0)])
    slot = store.slot(BOOST, "test", Rank.POLL)
    for second in range(41):
        slot.put(float(second), Quality.GOOD, float(second))
    history = memory.histories(40.0)[BOOST]
    assert history[0] == (30.0, 10.0)
    assert history[-1] == (0.0, 40.0)
    assert [ago for ago, _ in history] == sorted((ago for ago, _ in history), reverse=True)
    assert memory.histories(1000.0)[BOOST] == ()


def test_a_history_stays_small_and_keeps_what_stands_out() -> None:
    store = Store(CATALOGUE)
    memory = Memory(store, histories=[(BOOST, 60.0)])
    slot = store.slot(BOOST, "test", Rank.BROADCAST)
    for step in range(60 * 50):
        slot.put(120.0 if step == 1507 else 10.0, Quality.GOOD, step / 50)
    history = memory.histories(60.0)[BOOST]
    assert len(history) <= POINTS + 1
    assert max(value for _, value in history) == 120.0


def test_a_memory_of_pages_keeps_what_they_asked_for() -> None:
    store = Store(CATALOGUE)
    page = Page("p", "p", lambda canvas, snapshot: None, (BOOST,), peaks=(BOOST,), histories=((BOOST, 30.0),))
    memory = Memory.of_pages(store, [page, page])
    store.slot(BOOST, "test", Rank.POLL).put(20.0, Quality.GOOD, 5.0)
    assert memory.peaks() == {BOOST: 20.0}
    assert memory.histories(6.0) == {BOOST: ((1.0, 20.0),)}


def test_switches_leave_no_trace_and_a_closed_memory_hears_nothing() -> None:
    store = Store(CATALOGUE)
    memory = Memory(store, peaks=[BOOST, "engine.running"])
    store.slot("engine.running", "test", Rank.BROADCAST).put(True, Quality.GOOD, 0.0)
    memory.close()
    store.slot(BOOST, "test", Rank.POLL).put(20.0, Quality.GOOD, 5.0)
    assert memory.peaks() == {}


@pytest.mark.parametrize("seconds", [0.5, 600.0])
def test_short_and_long_histories_start_with_the_first_sample(seconds: float) -> None:
    store = Store(CATALOGUE)
    memory = Memory(store, histories=[(BOOST, seconds)])
    store.slot(BOOST, "test", Rank.POLL).put(3.0, Quality.GOOD, 1e6)
    ((ago, value),) = memory.histories(1e6 + 0.1)[BOOST]
    assert ago == pytest.approx(0.1)
    assert value == 3.0


def test_what_comes_from_elsewhere_now_begins_anew() -> None:
    store = Store(CATALOGUE)
    slot = store.slot("engine.speed", "poll", Rank.POLL)
    before = Memory(store, ["engine.speed"], [("engine.speed", 10.0)])
    slot.put(4000.0, Quality.GOOD, 1.0)
    after = Memory(Store(CATALOGUE), ["engine.speed"], [("engine.speed", 10.0)])
    after.take_over(before, lambda name: False)
    assert (after.peaks(), after.histories(2.0)) == ({}, {"engine.speed": ()})
    after.take_over(before)
    assert (after.peaks(), after.histories(2.0)) == ({"engine.speed": 4000.0}, {"engine.speed": ((1.0, 4000.0),)})
