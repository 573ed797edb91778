from __future__ import annotations

from dataclasses import replace

from underdash.bus.frames import Frame
from underdash.bus.templates import Span
from underdash.bus.vetting import MakerEvidence, vet
from underdash.contract.cars import BusDescription, CarDescription, Exchange
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, Protocol, SingleFrameFormat
from underdash.diagnostics import obd
from underdash.diagnostics.requests import Compiled, compile_polls
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store

ENGINE = ControlUnit("engine", "drive", 0x18DA10F1, 0x18DAF110, extended=True)
CHARGE = ControlUnit("charge", "drive", 0x0F00, 0x0F01, extended=True, address=0x5C, padding=None)
EXHAUST = replace(CHARGE, name="exhaust", address=0x67)
PARTS = (Part(PartKind.COUNT, value=0xC8), Part(PartKind.ADDRESS), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER, 2))
FORM = SingleFrameFormat("made_up", 0xA3, (*PARTS, Part(PartKind.MODE, value=1)), (*PARTS, Part(PartKind.DATA)))
CAR = CarDescription(
    "tarn", "Halden Tarn", (BusDescription("drive", 500_000),), (ENGINE, CHARGE, EXHAUST), formats=(FORM,)
)


def compiled(*requests: PollRequest, protocols: tuple[Protocol, ...] = ()) -> Compiled:
    found = compile_polls(CAR, requests, protocols, Store(CATALOGUE))
    assert found.problems == []
    return found


def asked(unit: str, identifier: int, signal: str, protocol: str = "made_up") -> PollRequest:
    return PollRequest(unit, protocol, identifier, (Field(signal, Bits(0)),))


def test_only_identifiers_vary_and_only_to_those_that_are_asked_for() -> None:
    template, two, *_ = compiled(*obd.polls("engine", [0x04, 0x05, 0x0C])).templates
    assert template.mask.hex() == "ffff00ffffffffff"
    assert template.value.hex() == "0201000000000000"
    allowed = ((0x00, 0x00), (0x04, 0x05), (0x0C, 0x0C))  # and the support mask that tells of them
    assert template.ranges == (Span(2, 1, allowed),)
    assert (template.command, template.address, template.maker) == (0x01, None, None)
    assert (two.value.hex(), two.mask.hex()) == ("0301000000000000", "ffff0000ffffffff")
    assert two.ranges == (Span(2, 1, allowed), Span(3, 1, allowed))


def test_each_unit_and_protocol_has_its_template_and_every_poll_fits_one() -> None:
    found = compiled(
        obd.poll("engine", 0x0C),
        asked("engine", 0x1234, "gearbox.oil_temperature", "identifier_22"),
        asked("charge", 0x1A04, "engine.charge_pressure"),
        asked("charge", 0x1A05, "engine.manifold_pressure"),
        asked("exhaust", 0x2B11, "exhaust.temperature"),
    )
    assert len({(one.unit, one.command) for one in found.templates}) == 4
    for poll in (*found.polls, *found.helpers):
        assert sum(template.matches(poll.frame) for template in found.templates) == 1


def test_a_makers_template_pins_count_address_command_and_mode() -> None:
    (template,) = compiled(asked("charge", 0x1A04, "engine.charge_pressure")).templates
    assert str(template) == "drive 00000F00#CD5CA3....01"
    assert (template.command, template.address, template.maker) == (0xA3, 0x5C, "made_up")
    assert not template.matches(Frame(0x0F00, bytes.fromhex("CD5CA31A0402"), True))
    assert not template.matches(Frame(0x0F00, bytes.fromhex("CD5CA31A0601"), True))


def test_the_guard_takes_the_standard_template_and_wants_evidence_for_the_makers() -> None:
    found = compiled(obd.poll("engine", 0x0C), asked("charge", 0x1A04, "engine.charge_pressure"))
    standard, maker = found.templates[0], found.templates[-1]
    assert vet(standard, MakerEvidence()) is None
    assert vet(maker, MakerEvidence()) is not None
    shown = Exchange("made_up", "charge", bytes.fromhex("CD5CA31A0401"), 12, 5, "ab" * 32)
    assert vet(maker, MakerEvidence({"charge": (0xA3,)}, (shown,))) is None


def test_a_plug_ins_protocol_may_scatter_the_identifier() -> None:
    protocol = Protocol(
        "odd",
        encode=lambda unit, identifier: bytes((0xA5, identifier >> 8, 0x00, identifier & 0xFF)),
        decode=lambda unit, data: None,
        identifier_bytes=(1, 3),
        command_byte=0,
    )
    requests = [asked("engine", n, s, "odd") for n, s in ((0x1234, "fuel.rate"), (0x1335, "fuel.level"))]
    (template,) = compiled(*requests, protocols=(protocol,)).templates
    assert template.mask.hex() == "ff00ff00ffffffff"
    assert template.ranges == (Span(1, 1, ((0x12, 0x13),)), Span(3, 1, ((0x34, 0x35),)))


def test_two_names_of_one_unit_are_one_lane_and_two_addresses_are_two() -> None:
    again = replace(ENGINE, name="motor")
    car = replace(CAR, units=(*CAR.units, again))
    requests = [
        obd.poll("engine", 0x0C), obd.poll("motor", 0x0D),
        asked("charge", 1, "engine.charge_pressure"), asked("exhaust", 1, "exhaust.temperature"),
    ]  # fmt: skip
    lanes = [poll.lane for poll in compile_polls(car, requests, (), Store(CATALOGUE)).polls]
    assert lanes[0] == lanes[1]
    assert lanes[2] != lanes[3]
