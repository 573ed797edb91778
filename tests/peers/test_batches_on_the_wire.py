"""Requests for several identifiers as they pass the guard to the bus: scapy and can-isotp read what was meant."""

from __future__ import annotations

import logging
import warnings
from collections.abc import Callable, Iterator
from math import inf
from random import Random
from types import SimpleNamespace
from typing import Any

import isotp
import pytest

from underdash.bus.bus_facts import BusFacts
from underdash.bus.fingerprint import Fit, FitVerdict
from underdash.bus.frames import Frame
from underdash.bus.link import Link
from underdash.bus.memory import MemoryBus
from underdash.bus.port import QuietEvents
from underdash.bus.table import Table
from underdash.bus.vetting import MakerEvidence
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.contract.signals import Value
from underdash.diagnostics.options import Options
from underdash.diagnostics.pci import padded
from underdash.loading import load
from underdash.pace import paced_loop
from underdash.power.ignition import IgnitionState, Position
from underdash.signals.wants import Want, WantKind
from underdash.simulator.manners import Manners
from underdash.simulator.units import SimulatedUnit
from underdash.wiring.assembly import assemble
from underdash.wiring.sending import Sending, make_guard

ASK, ANSWER = 0x7E0, 0x7E8
STANDARD = (0x04, 0x05, 0x0C, 0x0D, 0x0F, 0x11)
OWN: dict[int, str] = {
    0x1001: "gearbox.oil_temperature", 0x1002: "gearbox.oil_pressure", 0x1003: "gearbox.input_speed",
    0x1004: "engine.oil_temperature", 0x1005: "engine.charge_temperature", 0x1006: "exhaust.temperature",
    0x1007: "ambient.pressure", 0x1008: "engine.charge_pressure", 0x1009: "engine.manifold_pressure",
}  # fmt: skip
TRUE: dict[str, Value] = {
    "engine.load": 0.0, "engine.coolant_temperature": 83.0, "engine.speed": 1726.0, "vehicle.speed": 80.0,
    "engine.intake_temperature": 31.0, "engine.throttle": 100.0, "gearbox.oil_temperature": 91.0,
    "gearbox.oil_pressure": 460.0, "gearbox.input_speed": 2150.0, "engine.oil_temperature": 80.0,
    "engine.charge_temperature": 45.0, "exhaust.temperature": 612.0, "ambient.pressure": 98.0,
    "engine.charge_pressure": 220.0, "engine.manifold_pressure": 218.5,
}  # fmt: skip
CAR = CarDescription(
    "any", "Any", (BusDescription("drive", 500_000),),
    units=(ControlUnit("engine", "drive", ASK, ANSWER),),
    polls=(
        *(PollRequest("engine", "service_01", pid, (), 0.2) for pid in STANDARD),
        *(PollRequest("engine", "identifier_22", number, (Field(signal, Bits(0, 16), scale=0.5, offset=-100.0),), 0.2)
          for number, signal in OWN.items()),
    ),
)  # fmt: skip


@pytest.fixture(scope="module")
def scapy() -> Any:
    """Its layers; importing them warns and logs about the machine it is on."""
    logging.getLogger("scapy.runtime").setLevel(logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from scapy.contrib import isotp as layer
        from scapy.contrib.automotive import uds
        from scapy.contrib.automotive.obd import obd
        from scapy.layers.can import CAN

    return SimpleNamespace(Builder=layer.ISOTPMessageBuilder, CAN=CAN, OBD=obd.OBD, UDS=uds.UDS)


@pytest.fixture(scope="module")
def drive() -> Iterator[Callable[[int, Manners], list[Frame]]]:
    """Runs two seconds of asking with so many identifiers a request; returns all frames on the bus."""
    closers: list[Callable[[], None]] = []

    def run(most: int, manners: Manners) -> list[Frame]:
        loop, bus = paced_loop(inf), MemoryBus("drive")
        assembly = assemble(CAR, load({}), options=Options(requests_per_s=None, most_a_request=most))
        assert assembly.problems == []
        guard = make_guard(assembly, evidence=MakerEvidence({}, ()))
        link = Link("drive", bus.port)
        link.table = assembly.tables["drive"]
        sending = Sending(assembly, guard, {"drive": link}, loop)
        unit = SimulatedUnit(CAR.units[0], CAR.polls, (), Random(2), manners)
        frames: list[Frame] = []
        events, table, port = QuietEvents(), Table(), bus.port()
        events.tap = frames.append

        def hear(data: bytes, at: float) -> None:
            for after_s, answer in unit.answer(data, TRUE, at):
                loop.call_later(after_s, port.send, Frame(ANSWER, padded(answer, 0xAA)))

        table.add(ASK, hear)
        port.open(loop, table, QuietEvents())
        bus.port(silent=True).open(loop, Table(), events)
        sending.connect()
        link.start(loop, loop.time())
        guard.set_bus("drive", BusFacts(proven=True, transmit=True, virtual=True))
        guard.ignition = IgnitionState(Position.ON, True, "on", inf)
        guard.ignition_seen = True
        guard.fingerprint = FitVerdict(Fit.FITS, "it is")
        sending.demand({signal: Want(WantKind.PAGE, 0.2) for signal in TRUE})
        loop.call_later(2.0, loop.stop)
        loop.run_forever()
        now = loop.time()
        found = {signal: assembly.store.read(signal, now).value for signal in TRUE}
        assert found == {signal: pytest.approx(true) for signal, true in TRUE.items()}
        assert guard.report()["passed"] == sum(frame.id == ASK for frame in frames)
        assert (assembly.asking.counts.missed, assembly.asking.counts.dropped) == (0, 0)
        sending.stop()
        link.close()
        closers.append(loop.close)
        return frames

    yield run
    for close in closers:
        close()


def by_scapy(scapy: Any, frames: list[Frame], can_id: int) -> list[bytes]:
    builder = scapy.Builder(use_ext_address=False)
    for frame in frames:
        if frame.id == can_id:
            builder.feed(scapy.CAN(identifier=frame.id, data=frame.data))
    return [bytes(message.data) for message in builder]


def by_can_isotp(frames: list[Frame], can_id: int) -> list[bytes]:
    waiting = [isotp.CanMessage(arbitration_id=can_id, data=frame.data) for frame in frames if frame.id == can_id]
    errors: list[str] = []
    layer = isotp.TransportLayerLogic(
        rxfn=lambda _timeout: waiting.pop(0) if waiting else None,
        txfn=lambda message: None,
        address=isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=can_id, txid=0x123),
        error_handler=lambda error: errors.append(type(error).__name__),
        params={"listen_mode": True},
    )
    while waiting:
        layer.process(rx_timeout=0.0)
    found = []
    while layer.available():
        found.append(bytes(layer.recv() or b""))
    assert set(errors) <= {"UnexpectedFlowControlError"}
    return found


@pytest.mark.parametrize("most", [1, 2, 3, 6, 12])
@pytest.mark.parametrize("terms", [{}, {"block_size": 1, "st_min": 3}], ids=["all at once", "frame by frame"])
def test_both_read_the_same_requests_and_no_more_than_was_declared(
    scapy: Any, drive: Callable[[int, Manners], list[Frame]], most: int, terms: dict[str, int]
) -> None:
    manners = Manners(identifiers_at_once=12, **terms)  # type: ignore[arg-type]
    frames = drive(most, manners)
    asked = by_scapy(scapy, frames, ASK)
    assert asked == by_can_isotp(frames, ASK)
    most_seen = {0x01: 0, 0x22: 0}
    for message in asked:
        if message[0] == 0x22:
            numbers = list(scapy.UDS(message).identifiers)
            assert set(numbers) <= set(OWN)
        else:
            numbers = list(scapy.OBD(message).pid)
            assert set(numbers) <= {*STANDARD, 0x00}
        assert len(set(numbers)) == len(numbers)
        most_seen[message[0]] = max(most_seen[message[0]], len(numbers))
    assert most_seen == {0x01: min(most, 6), 0x22: min(most, len(OWN))}
    assert any(frame.data[0] >> 4 == 1 for frame in frames if frame.id == ASK) == (most > 3)


def test_both_read_the_same_answers_and_scapy_the_same_values(
    scapy: Any, drive: Callable[[int, Manners], list[Frame]]
) -> None:
    frames = drive(12, Manners(identifiers_at_once=12))
    said = by_scapy(scapy, frames, ANSWER)
    assert said == by_can_isotp(frames, ANSWER)
    values: dict[int, float] = {}
    for message in said:
        if message[0] == 0x41 and message[1]:
            for record in scapy.OBD(message).data_records:
                values[record.pid] = float(record.payload.data)
    assert values == {
        0x04: 0.0, 0x05: 83.0, 0x0C: 1726.0, 0x0D: 80.0, 0x0F: 31.0, 0x11: 100.0,
    }  # fmt: skip
    own = [message for message in said if message[0] == 0x62]
    assert own
    for message in own:
        body = message[1:]
        for at in range(0, len(body), 4):
            signal = OWN[int.from_bytes(body[at : at + 2])]
            assert int.from_bytes(body[at + 2 : at + 4]) * 0.5 - 100.0 == TRUE[signal]
