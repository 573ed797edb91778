from __future__ import annotations

from dataclasses import replace

import pytest

from underdash.broadcast.dispatch import Broadcasts, register
from underdash.bus.frames import EXTENDED
from underdash.bus.table import Table
from underdash.contract.layout import Bits, BroadcastListener, Coding, Counter, Field, Select
from underdash.contract.signals import Age, Kind, Signal
from underdash.signals.store import Store

SIGNALS = {
    signal.name: signal
    for signal in (
        Signal("vehicle.speed", "km/h", "speed"),
        Signal("vehicle.limit", "km/h", "largest speed"),
        Signal("engine.speed", "rpm", "speed of the engine"),
        Signal("engine.coolant_temperature", "degC", "coolant"),
        Signal("vehicle.name", "", "name", Kind.TEXT),
    )
}
SPEED = Field("vehicle.speed", Bits(0, 16), scale=0.01)
TURNS = Field("engine.speed", Bits(2, 16), scale=0.25)


class Bench:
    """A store and two tables, and frames that find their way by key as a port would send them."""

    def __init__(self, *listeners: BroadcastListener, wanted: set[str] | None = None) -> None:
        self.store = Store(SIGNALS)
        self.tables = {"drive": Table(), "comfort": Table()}
        self.made: Broadcasts = register(listeners, self.store, self.tables, SIGNALS, wanted)

    def frame(self, bus: str, key: int, data: str, at: float) -> None:
        handler = self.tables[bus].get(key)
        if handler is not None:
            handler(bytes.fromhex(data), at)


def test_a_frame_reaches_the_store_under_its_bus_and_id() -> None:
    bench = Bench(BroadcastListener("drive", 0x0B4, (SPEED, TURNS)))
    bench.frame("comfort", 0x0B4, "2710 0FA0", 1.0)
    assert bench.store.read("vehicle.speed", 1.0).value is None
    bench.frame("drive", 0x0B4, "2710 0FA0", 2.0)
    reading = bench.store.read("vehicle.speed", 2.0)
    assert (reading.value, reading.source) == (100.0, "broadcast drive 0B4")
    assert bench.store.read("engine.speed", 2.0).value == 1000.0
    assert bench.made.problems == []
    assert bench.made.keys("drive") == [0x0B4]


def test_extended_ids_are_other_frames() -> None:
    bench = Bench(BroadcastListener("drive", 0x0B4, (SPEED,), extended=True))
    bench.frame("drive", 0x0B4, "2710", 1.0)
    assert bench.store.read("vehicle.speed", 1.0).value is None
    bench.frame("drive", 0x0B4 | EXTENDED, "2710", 1.0)
    assert bench.store.read("vehicle.speed", 1.0).value == 100.0


def test_only_what_is_wanted_is_registered() -> None:
    bench = Bench(
        BroadcastListener("drive", 1, (SPEED, TURNS)),
        BroadcastListener("drive", 2, (Field("engine.coolant_temperature", Bits(0)),)),
        wanted={"vehicle.speed"},
    )
    assert list(bench.tables["drive"]) == [1]
    assert bench.store.names() == ["vehicle.speed"]
    assert [decoder.wanted for decoder in bench.made.decoders] == [("vehicle.speed",)]


def test_what_a_wanted_field_takes_its_full_scale_from_is_wanted_too() -> None:
    fields = (Field("vehicle.speed", Bits(0), full_scale_from="vehicle.limit"), Field("vehicle.limit", Bits(1)), TURNS)
    bench = Bench(BroadcastListener("drive", 1, fields), wanted={"vehicle.speed"})
    assert bench.store.names() == ["vehicle.limit", "vehicle.speed"]
    bench.frame("drive", 1, "FF 00 0000", 1.0)
    bench.frame("drive", 1, "FF 64 0000", 1.0)
    bench.frame("drive", 1, "FF 64 0000", 2.0)
    assert bench.store.read("vehicle.speed", 2.0).value == 100.0


def test_a_full_scale_that_the_frame_does_not_carry_is_a_problem() -> None:
    lone = Field("vehicle.speed", Bits(0), full_scale_from="vehicle.limit")
    (problem,) = Bench(BroadcastListener("drive", 1, (lone,))).made.problems
    assert (
        problem
        == "drive 001: 'vehicle.speed' takes its full scale from 'vehicle.limit', which this frame does not carry"
    )
    mixed = Field("vehicle.speed", Bits(0), full_scale_from="engine.speed")
    bench = Bench(BroadcastListener("drive", 1, (mixed, TURNS)))
    assert len(bench.made.problems) == 1
    assert bench.store.names() == ["engine.speed"]


def test_two_fields_of_one_frame_on_one_signal_are_a_problem_and_the_first_is_kept() -> None:
    again = Field("vehicle.speed", Bits(4, 16))
    bench = Bench(BroadcastListener("drive", 1, (SPEED, again, TURNS)))
    assert bench.made.problems == [
        "drive 001: two fields of this frame feed 'vehicle.speed'; the first is kept, take one of them out"
    ]
    bench.frame("drive", 1, "2710 0FA0", 1.0)
    assert (bench.store.read("vehicle.speed", 1.0).value, len(bench.store.slots("vehicle.speed"))) == (100.0, 1)


def test_two_listeners_to_one_frame_are_one_source() -> None:
    bench = Bench(BroadcastListener("drive", 1, (SPEED,)), BroadcastListener("drive", 1, (SPEED, TURNS)))
    assert len(bench.made.problems) == 1
    bench.frame("drive", 1, "2710 0FA0", 1.0)
    assert bench.store.read("engine.speed", 1.0).value == 1000.0
    assert list(bench.made.counts()) == ["drive 001", "drive 001 (2)"]


def test_two_frames_may_feed_one_signal_and_the_first_is_preferred() -> None:
    bench = Bench(BroadcastListener("drive", 1, (SPEED,)), BroadcastListener("comfort", 2, (SPEED,)))
    assert bench.made.problems == []
    assert [slot.source for slot in bench.store.slots("vehicle.speed")] == [
        "broadcast drive 001",
        "broadcast comfort 002",
    ]


def test_two_branches_of_one_multiplexer_may_feed_one_signal() -> None:
    def branch(value: int) -> Field:
        return Field("vehicle.speed", Bits(1), scale=float(value), select=Select(Bits(0), (value,)))

    bench = Bench(BroadcastListener("drive", 1, (branch(1), branch(2))))
    assert bench.made.problems == []
    bench.frame("drive", 1, "0205", 1.0)
    assert bench.store.read("vehicle.speed", 1.0).value == 10.0
    assert len(Bench(BroadcastListener("drive", 1, (branch(1), branch(1)))).made.problems) == 1


def test_each_mistake_is_a_sentence_and_the_rest_runs() -> None:
    bench = Bench(
        BroadcastListener("drive", 1, (Field("vehicle.sped", Bits(0)), TURNS)),
        BroadcastListener("body", 2, (SPEED,)),
        BroadcastListener("drive", 0x800, (SPEED,)),
        BroadcastListener("drive", 3, (Field("vehicle.speed", Bits(0), unit="degC"),)),
        BroadcastListener("drive", 4, (Field("vehicle.name", Bits(6, 64), Coding.TEXT),)),
        BroadcastListener("drive", 5, (SPEED,), counter=Counter(Bits(0, 99))),
    )
    problems = bench.made.problems
    assert len(problems) == 6, problems
    assert "'vehicle.sped' is not declared; did you mean 'vehicle.speed'? `underdash signals" in problems[0]
    assert problems[1] == "body 002: bus 'body' is not connected; those that are: comfort, drive"
    assert problems[2] == "drive 800: 800 is no id of 11 bits; correct it"
    assert "degC" in problems[3]
    assert "14 bytes" in problems[4] or "needs 14" in problems[4]
    bench.frame("drive", 1, "0000 0FA0", 1.0)
    assert bench.store.read("engine.speed", 1.0).value == 1000.0
    assert bench.store.names() == ["engine.speed"]


def test_a_declared_period_ages_a_signal_and_without_one_it_is_measured() -> None:
    declared = Bench(BroadcastListener("drive", 1, (SPEED,), period_s=1.0))
    declared.frame("drive", 1, "2710", 0.0)
    assert declared.store.read("vehicle.speed", 2.9).age is Age.FRESH
    assert declared.store.read("vehicle.speed", 3.1).age is Age.LATE
    measured = Bench(BroadcastListener("drive", 1, (SPEED,)))
    for at in (0.0, 2.0, 4.0):
        measured.frame("drive", 1, "2710", at)
    assert measured.store.read("vehicle.speed", 9.9).age is Age.FRESH


def test_what_a_multiplexer_selects_is_measured_for_it_comes_less_often_than_its_frame() -> None:
    limit = Field("vehicle.limit", Bits(1), select=Select(Bits(0), (7,)))
    bench = Bench(BroadcastListener("drive", 1, (Field("engine.speed", Bits(2)), limit), period_s=0.1))
    for at in range(12):
        bench.frame("drive", 1, f"{7 if at % 4 == 0 else 0:02X} 32 01", 0.1 * at)
    assert bench.store.read("vehicle.limit", 1.9).age is Age.FRESH
    assert bench.store.read("vehicle.limit", 2.4).age is Age.LATE
    assert bench.store.read("engine.speed", 1.9).age is Age.LATE


def test_a_signal_sent_on_change_stays_until_its_bus_is_silent() -> None:
    bench = Bench(
        BroadcastListener("drive", 1, (SPEED,), on_change=True),
        BroadcastListener("comfort", 2, (TURNS,), on_change=True),
    )
    bench.frame("drive", 1, "2710", 0.0)
    bench.frame("comfort", 2, "0000 0FA0", 0.0)
    assert bench.store.read("vehicle.speed", 86_400.0).age is Age.FRESH
    bench.made.bus_silent("drive")
    assert bench.store.read("vehicle.speed", 86_400.0).age is Age.GONE
    assert bench.store.read("engine.speed", 86_400.0).value == 1000.0


def test_everything_can_be_taken_out_again() -> None:
    bench = Bench(BroadcastListener("drive", 1, (SPEED,)), BroadcastListener("comfort", 2, (TURNS,)))
    bench.made.remove(bench.store, bench.tables)
    assert (list(bench.tables["drive"]), list(bench.tables["comfort"]), bench.store.names()) == ([], [], [])
    assert bench.made.decoders == []


def test_what_is_read_in_the_same_way_goes_on() -> None:
    before = Bench(BroadcastListener("drive", 1, (SPEED, TURNS)))
    before.frame("drive", 1, "2710 0FA0", 1.0)
    other = replace(TURNS, scale=0.5)
    after = Bench(BroadcastListener("drive", 1, (other, SPEED), on_change=True))
    went_on = [*after.made.take_over(before.made)]
    assert [slot.signal.name for slot in went_on] == ["vehicle.speed"]
    assert after.store.read("vehicle.speed", 1.2).value == 100.0
    assert after.store.read("engine.speed", 1.2).value is None


@pytest.mark.parametrize(
    "listener",
    [
        BroadcastListener("comfort", 1, (SPEED,)),
        BroadcastListener("drive", 2, (SPEED,)),
        BroadcastListener("drive", 1, (SPEED,), extended=True),
    ],
)
def test_what_comes_in_another_frame_begins_anew(listener: BroadcastListener) -> None:
    before = Bench(BroadcastListener("drive", 1, (SPEED,)))
    before.frame("drive", 1, "2710 0FA0", 1.0)
    after = Bench(listener)
    assert [*after.made.take_over(before.made)] == []
    assert after.store.read("vehicle.speed", 1.0).value is None


def test_a_signal_that_is_declared_otherwise_begins_anew() -> None:
    before, after = Bench(BroadcastListener("drive", 1, (SPEED,))), Bench()
    signals = {**SIGNALS, "vehicle.speed": Signal("vehicle.speed", "km/h", "speed", low=0.0, high=50.0)}
    before.frame("drive", 1, "2710", 1.0)
    made = register([BroadcastListener("drive", 1, (SPEED,))], Store(signals), after.tables, signals)
    assert [*made.take_over(before.made)] == []
