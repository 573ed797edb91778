from __future__ import annotations

from math import inf

import pytest

from underdash.contract.signals import Age, Quality, Signal
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Rank, Slot, Store

SPEED = "vehicle.speed"
BOOST = "engine.boost_pressure"


def filled(slot: Slot, value: float, times: list[float]) -> None:
    for at in times:
        slot.put(value, Quality.GOOD, at)


def test_a_signal_nobody_provides_reads_as_gone() -> None:
    reading = Store(CATALOGUE).read(SPEED, 5.0)
    assert (reading.value, reading.age, reading.seconds_old) == (None, Age.GONE, None)
    assert reading.source == "nobody provides it"


def test_a_signal_nobody_declared_gets_no_slot() -> None:
    with pytest.raises(KeyError):
        Store(CATALOGUE).slot("warp.factor", "test", Rank.POLL)


@pytest.mark.parametrize(
    ("period_s", "fresh_until_s", "late_until_s"),
    [(0.02, 0.4, 1.5), (0.5, 1.5, 5.0), (5.0, 15.0, 50.0), (None, 0.4, 1.5), (inf, inf, inf)],
)
def test_a_value_is_fresh_then_late_then_gone_by_its_period(
    period_s: float | None, fresh_until_s: float, late_until_s: float
) -> None:
    store = Store(CATALOGUE)
    store.slot(SPEED, "test", Rank.BROADCAST, period_s=period_s).put(50.0, Quality.GOOD, 0.0)
    for old, expected in (
        (fresh_until_s, Age.FRESH),
        (fresh_until_s + 0.01, Age.LATE),
        (late_until_s + 0.01, Age.GONE),
    ):
        if old < inf:
            reading = store.read(SPEED, old)
            assert reading.age is expected
            assert (reading.value is None) == (expected is Age.GONE)
            assert reading.seconds_old == old
    assert store.read(SPEED, 1e9).age is (Age.FRESH if period_s == inf else Age.GONE)


def test_a_fixed_age_limit_of_the_signal_rules_over_the_period() -> None:
    signals = {"own.word": Signal("own.word", "", "a word", gone_after_s=10.0)}
    store = Store(signals)
    store.slot("own.word", "test", Rank.BROADCAST, period_s=0.1).put(1.0, Quality.GOOD, 0.0)
    assert store.read("own.word", 10.0).age is Age.FRESH
    assert store.read("own.word", 10.1).age is Age.GONE


def test_an_elastic_source_is_judged_by_the_period_it_achieves() -> None:
    store = Store(CATALOGUE)
    slot = store.slot(SPEED, "poll", Rank.POLL, elastic=True)
    filled(slot, 10.0, [0.0, 1.0, 2.0, 3.0])
    assert slot.period_s == pytest.approx(1.0)
    assert store.read(SPEED, 6.0).age is Age.FRESH
    assert store.read(SPEED, 6.1).age is Age.LATE


def test_an_implausible_number_is_counted_and_dropped() -> None:
    store = Store(CATALOGUE)
    slot = store.slot(SPEED, "test", Rank.BROADCAST)
    slot.put(50.0, Quality.GOOD, 0.0)
    slot.put(5000.0, Quality.GOOD, 0.1)
    slot.put(float("nan"), Quality.GOOD, 0.2)
    assert store.read(SPEED, 0.2).value == 50.0
    assert (slot.count, slot.implausible, slot.at) == (1, 2, 0.0)


@pytest.mark.parametrize("value", [float("inf"), float("-inf"), float("nan")])
def test_a_number_that_is_none_is_implausible_whatever_the_signal(value: float) -> None:
    unbounded = Signal("any.number", "", "made up")
    store = Store({unbounded.name: unbounded})
    slot = store.slot(unbounded.name, "test", Rank.BROADCAST)
    slot.put(value, Quality.GOOD, 0.0)
    assert store.read(unbounded.name, 0.0).value is None
    assert slot.implausible == 1


def test_the_better_source_is_used_while_it_is_fresh_and_the_next_when_it_is_late() -> None:
    store = Store(CATALOGUE)
    poll = store.slot(SPEED, "poll", Rank.POLL, period_s=0.5)
    broadcast = store.slot(SPEED, "broadcast", Rank.BROADCAST, period_s=0.02)
    assert [slot.source for slot in store.slots(SPEED)] == ["broadcast", "poll"]
    broadcast.put(50.0, Quality.GOOD, 10.0)
    poll.put(48.0, Quality.GOOD, 10.2)
    assert store.read(SPEED, 10.3).source == "broadcast"
    assert store.read(SPEED, 10.5).source == "poll"


def test_it_goes_back_after_three_good_samples_and_not_before() -> None:
    store = Store(CATALOGUE)
    broadcast = store.slot(SPEED, "broadcast", Rank.BROADCAST, period_s=0.02)
    poll = store.slot(SPEED, "poll", Rank.POLL, period_s=0.5)
    broadcast.put(50.0, Quality.GOOD, 0.0)
    poll.put(48.0, Quality.GOOD, 0.9)
    sources = [store.read(SPEED, 1.0).source]
    for at in (1.1, 1.2, 1.3):
        broadcast.put(50.0, Quality.GOOD, at)
        sources.append(store.read(SPEED, at).source)
    assert sources == ["poll", "poll", "poll", "broadcast"]


def test_samples_with_a_pause_among_them_do_not_add_up() -> None:
    store = Store(CATALOGUE)
    broadcast = store.slot(SPEED, "broadcast", Rank.BROADCAST, period_s=0.02)
    poll = store.slot(SPEED, "poll", Rank.POLL, period_s=5.0)
    poll.put(48.0, Quality.GOOD, 0.0)
    assert store.read(SPEED, 0.5).source == "poll"
    for at in (1.0, 2.0, 3.0, 4.0):
        broadcast.put(50.0, Quality.GOOD, at)
        assert store.read(SPEED, at + 0.01).source == "poll"
        assert store.read(SPEED, at + 0.9).source == "poll"


def test_a_source_that_was_left_needs_three_samples_too() -> None:
    store = Store(CATALOGUE)
    broadcast = store.slot(SPEED, "broadcast", Rank.BROADCAST, period_s=0.02)
    poll = store.slot(SPEED, "poll", Rank.POLL, period_s=5.0)
    filled(broadcast, 50.0, [0.0, 0.02, 0.04, 0.06])
    poll.put(48.0, Quality.GOOD, 0.1)
    assert store.read(SPEED, 0.1).source == "broadcast"
    assert store.read(SPEED, 1.0).source == "poll"
    filled(broadcast, 50.0, [1.1, 1.12])
    assert store.read(SPEED, 1.12).source == "poll"
    broadcast.put(50.0, Quality.GOOD, 1.14)
    assert store.read(SPEED, 1.14).source == "broadcast"


def test_a_better_source_is_taken_at_once_when_the_one_in_use_is_late() -> None:
    store = Store(CATALOGUE)
    broadcast = store.slot(SPEED, "broadcast", Rank.BROADCAST, period_s=0.02)
    store.slot(SPEED, "poll", Rank.POLL, period_s=0.5).put(48.0, Quality.GOOD, 0.0)
    assert store.read(SPEED, 1.0).source == "poll"
    broadcast.put(50.0, Quality.GOOD, 3.0)
    assert store.read(SPEED, 3.0).source == "broadcast"


def test_with_no_fresh_source_one_that_is_late_is_better_than_one_that_is_gone() -> None:
    store = Store(CATALOGUE)
    store.slot(SPEED, "broadcast", Rank.BROADCAST).put(50.0, Quality.GOOD, 0.0)
    store.slot(SPEED, "poll", Rank.POLL).put(48.0, Quality.GOOD, 1.0)
    assert store.read(SPEED, 2.0).source == "poll"
    assert store.read(SPEED, 2.0).age is Age.LATE
    assert store.read(SPEED, 9.0).age is Age.GONE


def test_of_two_sources_with_one_rank_the_first_made_is_preferred() -> None:
    store = Store(CATALOGUE)
    first = store.slot(SPEED, "first", Rank.POLL)
    second = store.slot(SPEED, "second", Rank.POLL)
    second.put(2.0, Quality.GOOD, 0.0)
    first.put(1.0, Quality.GOOD, 0.0)
    assert store.read(SPEED, 0.1).source == "first"


def test_a_reading_is_shown_in_the_owners_unit_by_signal_before_by_unit() -> None:
    store = Store(CATALOGUE, {"kPa": "psi", BOOST: "bar"})
    for name in (BOOST, "engine.oil_pressure"):
        store.slot(name, "test", Rank.POLL).put(100.0, Quality.GOOD, 0.0)
    boost, oil = store.read(BOOST, 0.1), store.read("engine.oil_pressure", 0.1)
    assert (boost.value, boost.unit, boost.text) == (100.0, "bar", "1.00")
    assert oil.shown == pytest.approx(14.503774)
    assert oil.unit == "psi"


def test_a_unit_that_does_not_fit_is_refused_when_the_source_is_made() -> None:
    with pytest.raises(ValueError, match=r"'kPa' measures pressure, 'degC' measures temperature"):
        Store(CATALOGUE, {BOOST: "degC"}).slot(BOOST, "test", Rank.POLL)


def test_switches_and_choices_have_no_number_to_show() -> None:
    store = Store(CATALOGUE)
    store.slot("vehicle.ignition", "test", Rank.BROADCAST).put("ON", Quality.GOOD, 0.0)
    reading = store.read("vehicle.ignition", 0.1)
    assert (reading.value, reading.shown, reading.text) == ("ON", None, "ON")


def test_a_cleared_slot_reads_as_gone() -> None:
    store = Store(CATALOGUE)
    slot = store.slot(SPEED, "test", Rank.BROADCAST)
    slot.put(1.0, Quality.GOOD, 0.0)
    slot.clear()
    assert store.read(SPEED, 0.0).seconds_old is None


def test_dropping_a_source_leaves_the_others_and_dropping_the_last_leaves_nothing() -> None:
    store = Store(CATALOGUE)
    broadcast = store.slot(SPEED, "broadcast", Rank.BROADCAST)
    poll = store.slot(SPEED, "poll", Rank.POLL)
    broadcast.put(50.0, Quality.GOOD, 0.0)
    poll.put(48.0, Quality.GOOD, 0.0)
    store.drop([broadcast])
    assert store.read(SPEED, 0.1).value == 48.0
    assert store.names() == [SPEED]
    store.drop([poll])
    assert store.names() == []
    assert store.read(SPEED, 0.1).age is Age.GONE


def test_watchers_hear_every_source_even_one_that_comes_later_until_they_stop() -> None:
    store = Store(CATALOGUE)
    heard: list[tuple[str, str]] = []
    first_listener = lambda slot: heard.append(("a", slot.source))  # noqa: E731
    store.watch(SPEED, first_listener)
    early = store.slot(SPEED, "early", Rank.BROADCAST)
    store.watch(SPEED, lambda slot: heard.append(("b", slot.source)))
    late = store.slot(SPEED, "late", Rank.POLL)
    early.put(1.0, Quality.GOOD, 0.0)
    late.put(2.0, Quality.GOOD, 0.0)
    assert heard == [("a", "early"), ("b", "early"), ("a", "late"), ("b", "late")]
    store.unwatch(SPEED, first_listener)
    store.unwatch(SPEED, first_listener)
    early.put(1.0, Quality.GOOD, 0.1)
    assert heard[4:] == [("b", "early")]


def test_an_implausible_number_reaches_no_watcher() -> None:
    store = Store(CATALOGUE)
    heard: list[Slot] = []
    store.watch(SPEED, heard.append)
    store.slot(SPEED, "test", Rank.POLL).put(-3.0, Quality.GOOD, 0.0)
    assert heard == []


def test_a_snapshot_holds_what_was_asked_for() -> None:
    store = Store(CATALOGUE, {"km/h": "mph"})
    store.slot(SPEED, "test", Rank.POLL).put(100.0, Quality.GOOD, 0.0)
    snapshot = store.snapshot(0.1)
    assert list(snapshot.readings) == [SPEED]
    assert snapshot.number(SPEED) == 100.0
    assert snapshot.reading(SPEED).text == "62"
    assert list(store.snapshot(0.1, ["engine.speed"]).readings) == ["engine.speed"]
    assert snapshot.units == {"km/h": "mph"}


def test_the_owner_can_prefer_another_kind_of_source() -> None:
    store = Store(CATALOGUE, orders={"vehicle.speed": (Rank.POLL, Rank.BROADCAST)})
    heard = store.slot("vehicle.speed", "broadcast", Rank.BROADCAST, period_s=0.1)
    asked = store.slot("vehicle.speed", "poll", Rank.POLL, period_s=0.1)
    assert store.slots("vehicle.speed") == (asked, heard)
    for slot, value in ((heard, 50.0), (asked, 51.0)):
        slot.put(value, Quality.GOOD, 10.0)
    assert store.read("vehicle.speed", 10.0).value == 51.0


def test_what_a_person_gives_outranks_every_source_in_any_order() -> None:
    for orders in ({}, {SPEED: (Rank.POLL, Rank.BROADCAST)}):
        store = Store(CATALOGUE, orders=orders)
        for rank, value in ((Rank.POLL, 48.0), (Rank.BROADCAST, 50.0), (Rank.GIVEN, 99.0), (Rank.DERIVED, 1.0)):
            store.slot(SPEED, rank.name, rank, period_s=0.1).put(value, Quality.GOOD, 0.0)
        assert store.read(SPEED, 0.1).value == 99.0
        assert store.slots(SPEED)[-1].rank is Rank.DERIVED
