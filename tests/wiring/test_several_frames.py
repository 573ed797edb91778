"""Requests and answers in several frames, through the guard and over a bus inside the process."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

import pytest

from underdash.bus.bus_facts import BusFacts
from underdash.bus.fingerprint import Fit, FitVerdict
from underdash.bus.frames import Frame
from underdash.bus.link import Link
from underdash.bus.memory import MemoryBus
from underdash.bus.port import QuietEvents
from underdash.bus.refusals import Reason, Refusal
from underdash.bus.table import Table
from underdash.bus.vetting import MakerEvidence
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.diagnostics import pci
from underdash.diagnostics.reassembly import Reassembly
from underdash.diagnostics.segmentation import Segmentation
from underdash.diagnostics.standing import How
from underdash.loading import load
from underdash.pace import PacedLoop, paced_loop
from underdash.power.ignition import IgnitionState, Position
from underdash.signals.wants import Want, WantKind
from underdash.wiring.assembly import assemble
from underdash.wiring.sending import Sending, make_guard

SIGNALS = (
    "gearbox.oil_temperature", "engine.oil_temperature", "fuel.rate", "engine.load", "engine.throttle", "fuel.level",
)  # fmt: skip
NUMBER = b"HTX0000000000TARN"
CAR = CarDescription(
    "small", "Small", (BusDescription("drive", 500_000),),
    units=(ControlUnit("engine", "drive", 0x7E0, 0x7E8),),
    polls=(
        *(PollRequest("engine", "identifier_22", 0x1000 + n, (Field(s, Bits(0)),), 0.1) for n, s in enumerate(SIGNALS)),
        PollRequest("engine", "service_09", 0x02, ()),
    ),
)  # fmt: skip


class Unit:
    """A control unit at the other end of the bus, with its own halves of ISO-TP."""

    def __init__(self, loop: PacedLoop, bus: MemoryBus) -> None:
        self.loop, self.port = loop, bus.port()
        self.asked: list[bytes] = []
        self.flow: list[bytes] = []
        self._assembler = Reassembly(block_size=1, st_min=5)
        self._sending: Segmentation | None = None
        table = Table()
        table.add(0x7E0, self._hear)
        self.port.open(loop, table, QuietEvents())

    def _hear(self, data: bytes, at: float) -> None:
        if data[0] >> 4 == 3:
            self.flow.append(data)
            if self._sending is not None:
                self._sending.receive(data, at)
                for part in self._sending.due(at):
                    self._say(part)
            return
        heard = self._assembler.receive(data, at)
        if heard.reply is not None:
            self._say(heard.reply)
        if heard.payload is not None:
            self.asked.append(heard.payload)
            self.loop.call_later(0.01, self._answer, heard.payload)

    def _answer(self, asked: bytes) -> None:
        body = b"\x02\x01" + NUMBER
        if asked[0] == 0x22:
            body = b"".join(asked[at : at + 2] + bytes((40 + asked[at + 1],)) for at in range(1, len(asked), 2))
        self._sending = Segmentation(bytes((asked[0] + 0x40,)) + body)
        self._say(self._sending.start(self.loop.time()))

    def _say(self, data: bytes) -> None:
        self.port.send(Frame(0x7E8, pci.padded(data, 0xAA)))


@pytest.fixture
def both() -> Iterator[tuple[Sending, Unit]]:
    loop = paced_loop(inf)
    bus = MemoryBus("drive")
    assembly = assemble(CAR, load({}))
    assert assembly.problems == []
    guard = make_guard(assembly, evidence=MakerEvidence({}, ()))
    link = Link("drive", bus.port)
    link.table = assembly.tables["drive"]
    sending = Sending(assembly, guard, {"drive": link}, loop)
    unit = Unit(loop, bus)
    sending.connect()
    link.start(loop, loop.time())
    guard.set_bus("drive", BusFacts(proven=True, transmit=True, virtual=True))
    guard.ignition = IgnitionState(Position.ON, True, "on", inf)
    guard.ignition_seen = True
    guard.fingerprint = FitVerdict(Fit.FITS, "it is")
    yield sending, unit
    sending.stop()
    link.close()
    unit.port.close()
    loop.close()


def run(sending: Sending, seconds: float) -> None:
    sending.loop.call_later(seconds, sending.loop.stop)
    sending.loop.run_forever()


def test_six_identifiers_go_out_in_several_frames_with_the_units_leave_and_come_back_in_several(
    both: tuple[Sending, Unit],
) -> None:
    sending, unit = both
    sending.demand({signal: Want(WantKind.PAGE, 0.1) for signal in SIGNALS})
    run(sending, 2.0)
    store, now = sending.assembly.store, sending.loop.time()
    assert [store.read(signal, now).value for signal in SIGNALS] == [40.0 + n for n in range(6)]
    assert len(unit.asked[-1]) == 13
    counts = sending.assembly.asking.counts
    assert (counts.missed, counts.dropped) == (0, 0)
    assert counts.sent >= 15
    assert set(unit.flow) == {bytes.fromhex("3000000000000000")}


def test_the_number_of_the_vehicle_comes_in_three_frames(both: tuple[Sending, Unit]) -> None:
    sending, unit = both
    sending.demand({"vehicle.identification": Want(WantKind.RECORDER, 1.0)})
    run(sending, 3.0)
    assert unit.asked == [b"\x09\x02"]
    assert sending.assembly.store.read("vehicle.identification", sending.loop.time()).value == NUMBER.decode()


def test_a_shut_guard_stops_a_message_in_the_middle_too(both: tuple[Sending, Unit]) -> None:
    sending, unit = both
    sending.demand({signal: Want(WantKind.PAGE, 0.1) for signal in SIGNALS})
    run(sending, 0.5)
    sending.guard.quiet = True
    asked, flow, passed = len(unit.asked), len(unit.flow), sending.guard.report()["passed"]
    run(sending, 5.0)
    assert sending.guard.report()["passed"] == passed
    assert len(unit.asked) <= asked + 1
    assert len(unit.flow) <= flow + 1
    sending.guard.quiet = False
    run(sending, 5.0)
    assert len(unit.asked) > asked + 1


def test_a_guard_that_shuts_in_the_middle_of_a_request_is_not_asked_a_thousand_times(
    both: tuple[Sending, Unit],
) -> None:
    sending, unit = both
    sending.demand({signal: Want(WantKind.PAGE, 0.1) for signal in SIGNALS})
    leave = unit._say

    def shut(data: bytes) -> None:
        if data[0] >> 4 == 3:  # the unit lets the request go on, and the guard does not any more
            sending.guard.quiet = True
        leave(data)

    run(sending, 0.5)
    unit._say = shut  # type: ignore[method-assign]
    before = sending.guard.report()
    run(sending, 3.0)
    report = sending.guard.report()
    assert report.get("quiet", 0) - before.get("quiet", 0) < 60
    (status, *_) = [one for one in sending.assembly.asking.status(sending.loop.time()) if one.wanted]
    assert (status.told.how, status.told.reason) == (How.HELD, Reason.QUIET)
    assert sending.assembly.asking.counts.missed == 0
    unit._say = leave  # type: ignore[method-assign]
    sending.guard.quiet = False
    asked = len(unit.asked)
    run(sending, 3.0)
    assert len(unit.asked) > asked


def test_a_bus_without_room_in_the_middle_of_a_request_is_tried_less_and_less(both: tuple[Sending, Unit]) -> None:
    sending, unit = both
    sending.demand({signal: Want(WantKind.PAGE, 0.1) for signal in SIGNALS})
    leave = unit._say
    bus = sending.links["drive"]

    def fill(data: bytes) -> None:
        leave(data)
        if data[0] >> 4 == 3:
            unit.port._bus.full = True

    run(sending, 0.5)
    unit._say = fill  # type: ignore[method-assign]
    before = bus.status(sending.loop.time()).no_room
    run(sending, 0.9)
    assert 0 < bus.status(sending.loop.time()).no_room - before < 60


def test_flow_control_that_the_guard_holds_back_is_told_with_its_reason(both: tuple[Sending, Unit]) -> None:
    sending, unit = both
    refusal = Refusal(Reason.LOOKS_LIKE, "engine: this could be read as something else")
    sending.guard.expect_flow_control = lambda leave, now: refusal  # type: ignore[method-assign]
    sending.demand({signal: Want(WantKind.PAGE, 0.1) for signal in SIGNALS})
    run(sending, 0.2)
    asking = sending.assembly.asking
    (status, *_) = [one for one in asking.status(sending.loop.time()) if one.wanted]
    assert (status.told.how, status.told.reason) == (How.FLOW_HELD, Reason.LOOKS_LIKE)
    assert "could be read as something else" in status.sentence
    run(sending, 1.5)
    (status, *_) = [one for one in asking.status(sending.loop.time()) if one.wanted]
    assert status.told.how is How.FLOW_HELD
    assert unit.flow == []
