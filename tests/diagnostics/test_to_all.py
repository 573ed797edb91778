"""One request to all units (ISO 15765-4): the id tells who answers, every answer counts, flow control goes to one."""

from __future__ import annotations

from heapq import heappop, heappush
from itertools import pairwise
from random import Random

import pytest

from underdash.bus.bus_facts import BusFacts
from underdash.bus.fingerprint import Fit, FitVerdict
from underdash.bus.frames import Frame
from underdash.bus.guard import FlowControl, Guard
from underdash.bus.refusals import Reason
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, SingleFrameFormat
from underdash.diagnostics.asking import Asking, Wish
from underdash.diagnostics.polls import CompiledPoll
from underdash.diagnostics.requests import compile_polls
from underdash.power.ignition import IgnitionState, Position
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store
from underdash.signals.wants import Want, WantKind
from underdash.simulator.manners import Manners
from underdash.simulator.units import SimulatedUnit

STEP_S = 0.001
NAMES = ("engine", "gearbox")
SHORT = tuple(ControlUnit(name, "drive", 0x7DF, 0x7E8 + n) for n, name in enumerate(NAMES))
LONG = tuple(ControlUnit(name, "drive", 0x18DB33F1, 0x18DAF110 + n, extended=True) for n, name in enumerate(NAMES))
SIGNALS = {"engine": "engine.oil_temperature", "gearbox": "gearbox.oil_temperature"}
TRUE = {"engine.oil_temperature": 101.0, "gearbox.oil_temperature": 77.0, "engine.speed": 1000.0}


def polls_of(byte: int) -> list[PollRequest]:
    return [PollRequest(name, "identifier_22", 0x21C7, (Field(SIGNALS[name], Bits(byte)),), 0.2) for name in NAMES]


def compiled_to_all(polls: list[PollRequest]) -> list[CompiledPoll]:
    car = CarDescription("small", "Small", (BusDescription("drive", 500_000),), units=SHORT, polls=tuple(polls))
    return compile_polls(car, polls, (), Store(CATALOGUE)).polls


class Round:
    """Our side behind the guard, and simulated units that all hear a request to all."""

    def __init__(self, units: tuple[ControlUnit, ...], polls: list[PollRequest], deaf: str = "") -> None:
        car = CarDescription("small", "Small", (BusDescription("drive", 500_000),), units=units, polls=tuple(polls))
        self.store = Store(CATALOGUE)
        compiled = compile_polls(car, polls, (), self.store)
        self.problems = compiled.problems
        self.asking = Asking(compiled.polls)
        self.asking.reply = self._reply
        self.guard = Guard(compiled.templates)
        self.guard.set_bus("drive", BusFacts(proven=True, transmit=True, bitrate=500_000))
        self.guard.ignition = IgnitionState(Position.ON, True, "on", until=1e9)
        self.guard.ignition_seen = True
        self.guard.fingerprint = FitVerdict(Fit.FITS, "the car")
        manners = Manners(pending_share=0.0)
        self.simulated = [
            SimulatedUnit(one, polls, (), Random(n), manners) for n, one in enumerate(units) if one.name != deaf
        ]
        self.sent: list[tuple[float, Frame]] = []
        self._coming: list[tuple[float, int, Frame]] = []
        self._waiting: list[Wish] = []

    def _reply(self, wish: Wish, now: float) -> None:
        assert self.guard.expect_flow_control(FlowControl(wish.bus, wish.frame, wish.unit, wish.until), now) is None
        self._send(wish.frame, now)

    def _send(self, frame: Frame, now: float) -> None:
        assert self.guard.verdict("drive", frame, now) is None
        self.guard.sent("drive", frame, now)
        assert self.guard.heard("drive", frame.key, frame.data, now)
        self.sent.append((now, frame))
        to_all = frame.id in (0x7DF, 0x18DB33F1)
        for one in self.simulated:
            own = one.unit.response_id - 8 if not frame.extended else 0x18DA00F1 | (one.unit.response_id & 0xFF) << 8
            if to_all or frame.id == own:
                for after_s, data in one.answer(frame.data, TRUE, now, functional=to_all):
                    answer = Frame(one.unit.response_id, data.ljust(8, b"\0"), frame.extended)
                    heappush(self._coming, (now + after_s, len(self.sent) * 100 + len(self._coming), answer))

    def run(self, seconds: float, *signals: str) -> None:
        self.asking.demand({name: Want(WantKind.PAGE, 0.2) for name in signals}, 0.0)
        for step in range(round(seconds / STEP_S)):
            now = step * STEP_S
            while self._coming and self._coming[0][0] <= now:
                _, _, frame = heappop(self._coming)
                self.asking.handle("drive", frame.key, frame.data, now)
            for request in self.asking.due(now):
                refusal = self.guard.verdict("drive", request.frame, now)
                if refusal is None:
                    self._send(request.frame, now)
                    self.asking.sent(request, now)
                else:
                    self.asking.refused(request, refusal, now)

    def value(self, signal: str, now: float) -> object:
        return self.store.read(signal, now).value


@pytest.mark.parametrize("units", [SHORT, LONG], ids=["11 bit", "29 bit"])
def test_every_answer_to_one_request_is_used(units: tuple[ControlUnit, ...]) -> None:
    ride = Round(units, polls_of(0))
    ride.run(0.15, *SIGNALS.values())

    assert [frame.id for _, frame in ride.sent] == [units[0].request_id]
    assert [ride.value(signal, 0.15) for signal in SIGNALS.values()] == [101.0, 77.0]
    assert (ride.asking.counts.answered, ride.asking.counts.overheard) == (1, 1)


@pytest.mark.parametrize("units", [SHORT, LONG], ids=["11 bit", "29 bit"])
def test_long_answers_of_all_are_let_on_each_on_the_id_of_its_unit(units: tuple[ControlUnit, ...]) -> None:
    ride = Round(units, polls_of(12))
    ride.run(0.15, *SIGNALS.values())

    own = {0x7E0, 0x7E1} if units is SHORT else {0x18DA10F1, 0x18DA11F1}
    flow = [frame for _, frame in ride.sent if frame.data[0] == 0x30]
    assert {frame.id for frame in flow} == own
    assert len(flow) == 2
    assert [ride.value(signal, 0.15) for signal in SIGNALS.values()] == [101.0, 77.0]


def test_requests_to_all_leave_all_units_time_to_answer() -> None:
    polls = [PollRequest(name, "service_01", pid, (), 0.01) for name in NAMES for pid in (0x0C, 0x0D, 0x0F)]
    ride = Round(SHORT, polls)
    ride.run(1.0, "engine.speed", "vehicle.speed", "engine.intake_temperature")

    times = [at for at, frame in ride.sent if frame.id == 0x7DF]
    assert len(times) > 4
    assert min(after - before for before, after in pairwise(times)) >= 0.05 - 1e-9


def test_the_next_request_to_all_waits_until_every_long_answer_has_ended() -> None:
    asking = Asking(compiled_to_all(polls_of(12)))
    asking.demand({signal: Want(WantKind.PAGE, 0.01) for signal in SIGNALS.values()}, 0.0)
    (request,) = asking.due(0.0)
    asking.sent(request, 0.0)
    for at, key, text in (
        (0.01, 0x7E8, "101062 21C7000000"),
        (0.02, 0x7E9, "101062 21C7000000"),
        (0.03, 0x7E8, "21" + 7 * "00"),
        (0.04, 0x7E8, "22" + 7 * "00"),  # the engine's is complete
        (0.70, 0x7E9, "21" + 7 * "00"),
    ):
        asking.handle("drive", key, bytes.fromhex(text), at)
    assert [asking.due(at) for at in (0.06, 0.3, 0.71, 1.6)] == [[], [], [], []]
    assert asking.scheduler.outstanding(asking.polls[0], 1.6) is request
    asking.handle("drive", 0x7E9, bytes.fromhex("22" + 7 * "00"), 1.61)
    assert asking.due(1.61) != []
    assert asking.scheduler.outstanding(asking.polls[0], 1.61) is None


def test_a_long_answer_that_stops_halfway_holds_up_the_next_request_to_all_for_a_second() -> None:
    asking = Asking(compiled_to_all(polls_of(12)))
    asking.demand({signal: Want(WantKind.PAGE, 0.01) for signal in SIGNALS.values()}, 0.0)
    (request,) = asking.due(0.0)
    asking.sent(request, 0.0)
    asking.handle("drive", 0x7E9, bytes.fromhex("10106221C7000000"), 0.02)
    asking.handle("drive", 0x7E8, bytes.fromhex("0462 21C7 10000000"), 0.03)
    assert [bool(asking.due(at)) for at in (0.06, 1.01, 1.02)] == [False, False, True]


def test_a_unit_that_keeps_silent_costs_the_other_one_nothing() -> None:
    ride = Round(SHORT, polls_of(0), deaf="engine")
    ride.run(3.0, *SIGNALS.values())

    assert ride.value("gearbox.oil_temperature", 3.0) == 77.0
    assert ride.value("engine.oil_temperature", 3.0) is None
    assert any("engine left" in sentence for sentence in ride.asking.why("engine.oil_temperature", 3.0))


def test_flow_control_never_goes_to_all() -> None:
    ride = Round(SHORT, polls_of(12))
    ride.run(0.05, *SIGNALS.values())
    spelt = bytes.fromhex("3000000000000000")

    for name, can_id in (("engine", 0x7DF), ("engine", 0x7E1), ("gearbox", 0x7E0), ("gearbox", 0x7E2)):
        refusal = ride.guard.expect_flow_control(FlowControl("drive", Frame(can_id, spelt), name, 1.0), 0.05)
        assert refusal is not None, (name, can_id)
        assert refusal.reason is Reason.NO_ANSWER_DUE


def test_an_answer_to_another_testers_request_to_all_gets_no_flow_control_of_ours() -> None:
    ride = Round(SHORT, polls_of(12))
    ride.run(0.15, *SIGNALS.values())
    before = len(ride.sent)
    ride.asking.handle("drive", 0x7E9, bytes.fromhex("10106221C7000000"), 5.0)

    assert len(ride.sent) == before


def test_a_tester_on_the_id_of_a_flow_control_is_another_one() -> None:
    ride = Round(SHORT, polls_of(0))
    assert {0x7DF, 0x7E0, 0x7E1} <= ride.guard.keys("drive")
    assert not ride.guard.heard("drive", 0x7E1, bytes.fromhex("0322F19000000000"), 0.0)
    refusal = ride.guard.verdict("drive", ride.asking.polls[0].frame, 1.0)
    assert refusal is not None
    assert refusal.reason is Reason.OTHER_TESTER


def test_a_car_sends_nothing_on_the_ids_of_flow_control() -> None:
    ride = Round(SHORT, polls_of(0))
    templates = compile_polls(
        CarDescription("c", "C", (BusDescription("drive", 500_000),), units=SHORT), polls_of(0), (), Store(CATALOGUE)
    ).templates
    ride.guard.reload(templates, {("drive", 0x7E1)})
    assert {one.refusal.reason for one in ride.guard.refused} == {Reason.ID_IN_USE}
    assert {one.template.unit for one in ride.guard.refused} == {"gearbox"}


def test_a_makers_format_is_never_spoken_to_all() -> None:
    parts = (Part(PartKind.COUNT), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER))
    form = SingleFrameFormat("makers", 0xB4, parts, (*parts, Part(PartKind.DATA)))
    poll = PollRequest("engine", "makers", 0x10, (Field("engine.oil_temperature", Bits(0)),))
    car = CarDescription("c", "C", (BusDescription("drive", 500_000),), units=SHORT, polls=(poll,), formats=(form,))
    compiled = compile_polls(car, (poll,), (), Store(CATALOGUE))

    assert compiled.polls == []
    assert compiled.problems == [
        "request engine makers 10: 7DF speaks to all units, and 'makers' is no standard's protocol; ask on the unit's "
        "own id"
    ]


def test_several_identifiers_to_all_go_in_one_frame_only() -> None:
    signals = ("engine.oil_temperature", "fuel.rate", "engine.load", "engine.throttle", "fuel.level")
    polls = [PollRequest("engine", "identifier_22", 0x1000 + n, (Field(s, Bits(0)),)) for n, s in enumerate(signals)]
    ride = Round(SHORT, polls)
    assert {poll.most for poll in ride.asking.polls} == {3}


def test_what_is_asked_by_hand_does_not_overlap_the_answers_of_a_request_to_all() -> None:
    alone = ControlUnit("brakes", "drive", 0x7E2, 0x7EA)
    far = ControlUnit("seat", "comfort", 0x7E3, 0x7EB)
    polls = [*polls_of(0), PollRequest("brakes", "service_01", 0x0C, ()), PollRequest("seat", "service_01", 0x0D, ())]
    buses = (BusDescription("drive", 500_000), BusDescription("comfort", 500_000))
    car = CarDescription("small", "Small", buses, units=(*SHORT, alone, far), polls=tuple(polls))
    compiled = compile_polls(car, polls, (), Store(CATALOGUE))
    assert compiled.problems == []
    engine, gearbox, brakes, seat = compiled.polls
    scheduler = Asking(compiled.polls).scheduler
    assert scheduler.outstanding(brakes, 0.0) is None
    scheduler.sent(engine, 0.0)
    assert [scheduler.outstanding(one, 0.01) for one in (engine, gearbox, brakes)] == [engine] * 3
    assert scheduler.outstanding(seat, 0.01) is None
    scheduler.answered(engine, 0.02)  # others may still answer it
    assert scheduler.outstanding(brakes, 0.03) is engine
    assert scheduler.outstanding(brakes, engine.unit.answer_within_s) is None
    scheduler.sent(brakes, 1.0)
    assert scheduler.outstanding(gearbox, 1.01) is brakes
    assert scheduler.outstanding(brakes, 1.01) is brakes
