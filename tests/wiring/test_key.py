"""The key: only listening and wires may say that the ignition is on, and OFF reaches the guard in the same call."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from underdash.bus.fingerprint import Fit
from underdash.bus.frames import EXTENDED
from underdash.bus.guard import Guard
from underdash.bus.health import BusState
from underdash.bus.link import BusStatus, Link
from underdash.bus.memory import MemoryBus
from underdash.contract.cars import BusDescription, CarDescription, ExpectedFrame, IgnitionEvidence
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.signals import PowerState, Quality
from underdash.loading import load
from underdash.power.ignition import Position
from underdash.power.states import Power, PowerInputs, Supply
from underdash.signals.store import Rank
from underdash.wiring.assembly import Assembly, assemble
from underdash.wiring.key import Key

IGNITION = BroadcastListener(
    "drive", 0x200, (Field("vehicle.ignition", Bits(0, 3, 2), values=((1, "OFF"), (3, "ON"))),), period_s=0.1
)
CAR = CarDescription(
    "small",
    "Small",
    (BusDescription("drive", 500_000),),
    broadcasts=(IGNITION,),
    ignition=(IgnitionEvidence("vehicle.ignition", on=("ON",), off=("OFF",), lifetime_s=1.0),),
)


class Parts:
    def __init__(self, car: CarDescription = CAR) -> None:
        self.assembly: Assembly = assemble(car, load({}))
        self.guard = Guard(())
        self.key = Key(self.assembly, self.guard)
        self.key.connect(self.assembly.tables)

    def open(self) -> bool:
        return self.guard.ignition.may_send

    def position(self) -> Position:
        return self.key.state.position

    def fit(self) -> Fit:
        return self.guard.fingerprint.fit

    def frame(self, data: bytes, at: float, key: int = 0x200) -> None:
        self.assembly.tables["drive"][key](data, at)


# the lowest three bits
ON, OFF = b"\x03", b"\x01"


def test_off_reaches_the_guard_in_the_call_that_brought_it() -> None:
    parts = Parts()
    parts.frame(ON, 1.0)
    assert parts.open()
    parts.frame(OFF, 1.1)
    assert not parts.open()
    assert parts.guard.ignition_seen


def test_a_poll_or_a_sum_never_says_that_it_is_on() -> None:
    parts = Parts()
    for rank in (Rank.POLL, Rank.DERIVED):
        slot = parts.assembly.store.slot("vehicle.ignition", f"test {rank}", rank)
        slot.put("ON", Quality.GOOD, 1.0)
        assert parts.position() is Position.UNKNOWN
        assert not parts.open()
    parts.assembly.store.slot("vehicle.ignition", "wire", Rank.INPUT).put("ON", Quality.GOOD, 1.0)
    assert parts.position() is Position.ON


def test_evidence_runs_out() -> None:
    parts = Parts()
    parts.frame(ON, 1.0)
    parts.key.tick([], 1.9)
    assert parts.open()
    parts.key.tick([], 2.1)
    assert not parts.open()


@pytest.mark.parametrize("key", [0x300, 0x300 | EXTENDED])
def test_a_frame_that_keeps_it_alive_may_have_an_id_of_either_length(key: int) -> None:
    evidence = replace(CAR.ignition[0], alive_with=("drive", 0x300))
    parts = Parts(replace(CAR, ignition=(evidence,)))
    parts.frame(ON, 1.0)
    for step in range(1, 8):
        parts.frame(b"", 1.0 + step * 0.5, key)
    parts.key.tick([], 4.9)
    assert parts.position() is Position.ON
    parts.key.tick([], 6.0)
    assert parts.position() is Position.UNKNOWN


@pytest.mark.parametrize("first", ["frame", "tick"])
def test_frames_that_queued_up_while_the_program_was_stopped_do_not_open_the_guard(first: str) -> None:
    parts = Parts()
    parts.frame(ON, 1.0)
    parts.key.tick([], 1.04)
    if first == "tick":
        parts.key.tick([], 61.0)
    for number in range(100):  # a minute old, and stamped as they are read; the key is long out
        parts.frame(ON, 61.0 + number * 0.0001)
        assert not parts.open()
    parts.key.tick([], 61.02)
    for step in range(1, 100):
        parts.key.tick([], 61.02 + step * 0.04)
        assert not parts.open()
    parts.frame(ON, 65.0)
    assert parts.open()


def test_a_frame_that_keeps_alive_is_not_believed_either_when_it_waited() -> None:
    evidence = replace(CAR.ignition[0], alive_with=("drive", 0x300))
    parts = Parts(replace(CAR, ignition=(evidence,)))
    parts.frame(ON, 1.0)
    parts.key.tick([], 1.0)
    parts.frame(b"", 1.8, 0x300)
    assert not parts.open()
    parts.key.tick([], 2.4)
    assert not parts.open()


def status(heard_s: float | None) -> BusStatus:
    return replace(Link("drive", MemoryBus("drive").port).status(0.0), last_heard_s=heard_s)


def test_the_car_is_recognised_while_it_talks_and_anew_after_silence() -> None:
    parts = Parts(replace(CAR, fingerprint=(ExpectedFrame("drive", 0x200, False, 1, 0.1),)))
    for n in range(11):
        parts.frame(ON, 1.0 + n * 0.1)
    parts.key.tick([status(0.0)], 2.0)
    assert parts.fit() is Fit.FITS
    parts.key.tick([status(20.0)], 22.0)
    assert parts.fit() is Fit.WAITING


def test_an_expected_frame_that_stays_away_is_another_car() -> None:
    parts = Parts(replace(CAR, fingerprint=(ExpectedFrame("drive", 0x777, False, 8, 0.1),)))
    for second in range(12):
        parts.key.tick([status(0.0)], float(second))
    assert parts.fit() is Fit.DIFFERS


@pytest.mark.parametrize("absent", [False, True])
def test_a_wire_that_says_on_in_a_sleeping_car_is_doubted_unless_a_bus_is_not_open(absent: bool) -> None:
    evidence = IgnitionEvidence("vehicle.ignition", on=("ON",), off=("OFF",), wire="input key on GPIO17")
    parts = Parts(replace(CAR, ignition=(evidence,)))
    slot = parts.assembly.store.slot("vehicle.ignition", "input key on GPIO17", Rank.INPUT)
    other = replace(status(None), state=BusState.ABSENT if absent else BusState.SILENT)
    for step in range(1400):
        at = step * 0.45
        slot.put("ON", Quality.GOOD, at)
        parts.key.tick([replace(status(at), state=BusState.SILENT), other], at)
    assert list(parts.key.doubts) == ([] if absent else ["input key on GPIO17"])


@pytest.mark.parametrize(
    ("supply", "wakes", "ends", "lingers_s"),
    [
        (Supply.WAKEABLE, inf, PowerState.HALTING, 3630.0),
        (Supply.WAKEABLE, 3700.0, PowerState.AWAKE, 3630.0),
        (Supply.SWITCHED, inf, PowerState.AWAKE, inf),
    ],
)
def test_a_wire_that_is_always_on_does_not_keep_a_parked_car_s_accessory_up(
    supply: Supply, wakes: float, ends: PowerState, lingers_s: float
) -> None:
    evidence = IgnitionEvidence("vehicle.ignition", on=("ON",), off=("OFF",), wire="input key on GPIO17")
    parts = Parts(replace(CAR, ignition=(evidence,)))
    slot = parts.assembly.store.slot("vehicle.ignition", "input key on GPIO17", Rank.INPUT)
    power = Power(supply)
    went: dict[PowerState, float] = {}
    for step in range(9700):
        at = step * 0.45
        slot.put("ON", Quality.GOOD, at)
        parts.key.tick([replace(status(at if at < wakes else 0.0), state=BusState.SILENT)], at)
        state, _ = power.step(PowerInputs(parts.key.position_for(supply), parts.key.ignition.talking(at)), at)
        went.setdefault(state, at)
    assert state is ends
    assert went.get(PowerState.LINGERING, inf) == pytest.approx(lingers_s, abs=2.0)
