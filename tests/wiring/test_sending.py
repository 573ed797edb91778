"""The sending side: what is due goes through the guard, and what is held back is not tried again and again."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

import pytest

from underdash.bus.bus_facts import BusFacts
from underdash.bus.fingerprint import Fit, FitVerdict
from underdash.bus.frames import Frame
from underdash.bus.guard import Guard
from underdash.bus.link import Link
from underdash.bus.memory import MemoryBus, MemoryPort
from underdash.bus.port import QuietEvents
from underdash.bus.refusals import Reason
from underdash.bus.table import Table
from underdash.bus.vetting import MakerEvidence
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.diagnostics.asking import Wish
from underdash.loading import load
from underdash.pace import PacedLoop, paced_loop
from underdash.power.ignition import IgnitionState, Position
from underdash.signals.wants import Want, WantKind
from underdash.wiring.assembly import Assembly, assemble
from underdash.wiring.sending import Sending, facts, keys_in_use, make_guard

CAR = CarDescription(
    "small",
    "Small",
    (BusDescription("drive", 500_000),),
    units=(ControlUnit("engine", "drive", 0x7E0, 0x7E8),),
    polls=(PollRequest("engine", "service_01", 0x05, (), period_s=0.1),),
)
WANT = {"engine.coolant_temperature": Want(WantKind.PAGE, 0.1)}
ANSWER = bytes.fromhex("0341055A00000000")
MASK, HAS_05 = bytes.fromhex("020100"), bytes.fromhex("0641000800000000")


class Parts:
    """One unit on one bus inside the process; nobody answers unless told to."""

    def __init__(self, loop: PacedLoop, car: CarDescription = CAR) -> None:
        self.loop = loop
        self.bus = MemoryBus("drive")
        self.assembly: Assembly = assemble(car, load({}))
        self.guard: Guard = make_guard(self.assembly, evidence=MakerEvidence({}, ()))
        self.link = Link("drive", self.bus.port)
        self.link.table = self.assembly.tables["drive"]
        self.sending = Sending(self.assembly, self.guard, {"drive": self.link}, loop)
        self.heard: list[float] = []
        self.answers = True
        self._other: MemoryPort = self.bus.port()
        table = Table()
        table.add(0x7E0, self._asked)
        self._other.open(loop, table, QuietEvents())
        self.sending.connect()
        self.link.start(loop, loop.time())
        self.open()

    def open(self) -> None:
        self.guard.set_bus("drive", BusFacts(proven=True, transmit=True, virtual=True))
        self.guard.ignition = IgnitionState(Position.ON, True, "on", inf)
        self.guard.ignition_seen = True
        self.guard.fingerprint = FitVerdict(Fit.FITS, "it is")

    def following(self) -> Sending:
        """Return another sending side, as a description brings one that is read anew."""
        return Sending(self.assembly, self.guard, {"drive": self.link}, self.loop)

    def run(self, seconds: float) -> list[float]:
        """Times of what was sent meanwhile."""
        before = len(self.heard)
        self.loop.call_later(seconds, self.loop.stop)
        self.loop.run_forever()
        return self.heard[before:]

    def _asked(self, data: bytes, at: float) -> None:
        self.heard.append(at)
        if self.answers:
            self.loop.call_later(0.01, self._other.send, Frame(0x7E8, HAS_05 if data.startswith(MASK) else ANSWER))


@pytest.fixture
def parts() -> Iterator[Parts]:
    loop = paced_loop(inf)
    made = Parts(loop)
    yield made
    made.sending.stop()
    made.link.close()
    loop.close()


def test_what_is_wanted_is_asked_in_its_period_and_its_answer_is_read(parts: Parts) -> None:
    parts.sending.demand(WANT)
    sent = parts.run(5.0)
    assert len(sent) == pytest.approx(50, abs=3)
    assert parts.assembly.store.read("engine.coolant_temperature", parts.loop.time()).value == 50.0
    assert parts.assembly.asking.counts.answered == len(sent)
    assert parts.guard.report()["passed"] == len(sent)


def test_what_nobody_wants_is_not_asked(parts: Parts) -> None:
    assert parts.run(2.0) == []
    parts.sending.demand(WANT)
    assert parts.run(1.0)
    parts.sending.demand({})
    assert parts.run(2.0) == []


def test_a_closed_guard_lets_nothing_out_and_is_not_asked_a_thousand_times(parts: Parts) -> None:
    parts.guard.quiet = True
    parts.sending.demand(WANT)
    assert parts.run(10.0) == []
    assert 5 < parts.assembly.asking.counts.held < 50
    parts.guard.quiet = False
    assert parts.run(2.0)


def test_after_stop_nothing_is_sent(parts: Parts) -> None:
    parts.sending.demand(WANT)
    parts.run(1.0)
    parts.sending.stop()
    parts.answers = False
    assert parts.run(2.0) == []


def test_an_adapter_that_is_away_is_not_tried_a_thousand_times(parts: Parts) -> None:
    parts.sending.demand(WANT)
    parts.run(1.0)
    parts.bus.unplug()
    held = parts.assembly.asking.counts.held
    parts.run(10.0)
    assert parts.assembly.asking.counts.held - held < 50


def test_a_bus_without_room_is_told_to_the_scheduler_and_recovers(parts: Parts) -> None:
    parts.bus.full = True
    parts.sending.demand(WANT)
    assert parts.run(1.0) == []
    assert parts.link.status(parts.loop.time()).no_room > 0
    assert parts.guard.report()["passed"] == 0
    parts.bus.full = False
    assert parts.run(1.0)


def test_a_frame_that_does_not_come_back_blocks_until_a_pause_is_over(parts: Parts) -> None:
    parts.sending.demand(WANT)
    parts.run(0.5)
    parts.bus.dropping = True
    parts.run(1.0)
    before = parts.guard.report()["passed"]
    parts.run(3.0)
    assert parts.guard.report()["passed"] == before
    parts.sending.check(parts.loop.time())
    parts.run(0.1)
    parts.sending.check(parts.loop.time())
    assert parts.guard.blocked("drive", parts.loop.time())
    parts.run(0.2)
    parts.sending.check(parts.loop.time())
    parts.bus.dropping = False
    assert parts.run(3.0)


def test_while_nobody_acknowledges_only_a_few_frames_are_added_to_the_queue(parts: Parts) -> None:
    parts.sending.demand(WANT)
    parts.run(0.5)
    parts.bus.dropping = True
    before = parts.guard.report()["passed"]
    for _ in range(300):
        parts.run(0.2)
        parts.sending.check(parts.loop.time())
    assert 1 < parts.guard.report()["passed"] - before <= 8, "in a minute"
    parts.bus.dropping = False
    for _ in range(160):
        parts.run(0.2)
        parts.sending.check(parts.loop.time())
    assert len(parts.run(1.0)) > 3, "and it goes on as before"


def test_another_tester_is_given_way(parts: Parts) -> None:
    parts.sending.demand(WANT)
    parts.run(1.0)
    parts.bus.inject(Frame(0x7E0, bytes.fromhex("02010C0000000000")))
    assert len(parts.run(29.0)) <= 1  # that of the other one
    assert parts.run(3.0)


def test_a_request_whose_id_the_car_itself_uses_is_never_sent_and_named() -> None:
    from underdash.contract.layout import Bits, BroadcastListener, Field

    taken = BroadcastListener("drive", 0x7E0, (Field("engine.speed", Bits(0)),))
    car = CarDescription("odd", "Odd", CAR.buses, units=CAR.units, polls=CAR.polls, broadcasts=(taken,))
    assert keys_in_use(car) == {("drive", 0x7E0), ("drive", 0x7E8)}
    assembly = assemble(car, load({}))
    guard = make_guard(assembly, evidence=MakerEvidence({}, ()))
    assert guard.refused
    assert any("7E0" in problem for problem in assembly.problems)


def test_facts_say_what_the_guard_must_know(parts: Parts) -> None:
    status = parts.link.status(parts.loop.time())
    assert facts(status, True, 500_000) == BusFacts(False, True, True, None)
    assert facts(status, False, None).transmit is False


def test_flow_control_that_waits_is_announced_anew_when_a_description_is_read_anew(parts: Parts) -> None:
    frame = Frame(0x7E0, bytes.fromhex("3000000000000000"))
    wish = Wish("drive", frame, "engine", parts.loop.time() + 1.0)
    heard: list[bytes] = []
    held: list[Reason] = []
    parts.link.add_tap(lambda seen: heard.append(seen.data))
    for asked in (False, True):
        held.clear()
        before, after = parts.sending, parts.following()
        after.flow_held = lambda wish, refusal: held.append(refusal.reason)
        if asked:
            parts.sending.demand(WANT)
            parts.run(0.005)
            before.stop()
        before._replies.append(wish)
        after.take_over(before)
        parts.run(0.05)
        assert held == ([] if asked else [Reason.NO_ANSWER_DUE])
        assert (frame.data in heard) is asked
        after.stop()
