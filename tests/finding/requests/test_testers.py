from __future__ import annotations

from random import Random

import pytest

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.diagnostics.isotp import Fault
from underdash.finding.reading import heard_from
from underdash.finding.requests.asked import Exchange
from underdash.finding.requests.senders import Sender
from underdash.finding.requests.testers import Dialogue, dialogue
from underdash.simulator.faults import Fault as UnitFault
from underdash.simulator.units import SimulatedUnit

from ..tester_traces import Asked, Wire, padded

OIL = (Field("engine.oil_temperature", Bits(0, 16), scale=0.1),)
LONG = (Field("engine.coolant_temperature", Bits(18, 16), scale=0.1),)
ADDRESSINGS = {
    "normal, ids of the standard": ControlUnit("engine", "drive", 0x7E0, 0x7E8),
    "normal, any ids": ControlUnit("engine", "drive", 0x612, 0x633),
    "normal fixed": ControlUnit("engine", "drive", 0x18DA10F1, 0x18DAF110, True),
    "normal, 29 bits, any ids": ControlUnit("engine", "drive", 0x0B20C0A1, 0x0B20C0A2, True),
    "extended": ControlUnit("engine", "drive", 0x6F1, 0x612, address=0x12, reply_address=0xF1),
    "mixed": ControlUnit("engine", "drive", 0x6C1, 0x6C9, address=0x29),
    "mixed, 29 bits": ControlUnit("engine", "drive", 0x18CE10F1, 0x18CEF110, True, address=0x03),
}


def simulated(unit: ControlUnit, seed: int = 1) -> SimulatedUnit:
    polls = [
        PollRequest(unit.name, "identifier_22", 0x21C7, OIL),
        PollRequest(unit.name, "identifier_22", 0x21D0, LONG),
        PollRequest(unit.name, "identifier_21", 0x61, OIL),
    ]
    return SimulatedUnit(unit, polls, (), Random(seed))


def single(unit: ControlUnit, message: str) -> Asked:
    data = bytes.fromhex(message)
    head = b"" if unit.address is None else bytes((unit.address,))
    return unit, padded(unit, head + bytes((len(data),)) + data)


def asked_of(unit: ControlUnit, *messages: str, every_s: float = 0.5, fault: UnitFault | None = None) -> Dialogue:
    one = simulated(unit)
    if fault is not None:
        one.fault = fault
    wire = Wire([one], Random(3))
    wire.ask((1.0 + every_s * n, single(unit, message)) for n, message in enumerate(messages))
    wire.talk(0.0, 3.0 + every_s * len(messages))
    return dialogue(wire.heard())


@pytest.mark.parametrize("unit", ADDRESSINGS.values(), ids=ADDRESSINGS.keys())
def test_who_asks_whom_is_found_in_every_way_of_addressing(unit: ControlUnit) -> None:
    found = asked_of(unit, *(["22 21C7", "22 21D0", "21 61", "22 0000"] * 5))
    asks = Sender("drive", unit.request_id, unit.extended, unit.address)
    answers = Sender("drive", unit.response_id, unit.extended, unit.reply_prefix)
    assert {(one.to, one.by) for one in found.exchanges} == {(asks, answers)}
    assert len(found.exchanges) == 20
    assert [one.refused for one in found.exchanges] == [None, None, None, 0x31] * 5
    said = [one.answer.data for one in found.exchanges if one.answer is not None]
    assert [len(data) for data in said] == [5, 23, 4, 3] * 5
    assert found.flows == {(asks, answers): 5}


def test_nobody_is_taken_for_a_tester_on_a_bus_where_nobody_asks() -> None:
    for seed in range(5):
        wire = Wire([], Random(seed))
        wire.talk(0.0, 30.0, how_many=30)
        assert dialogue(wire.heard()).exchanges == []


def test_pending_answers_belong_to_the_request_that_waits() -> None:
    unit = ADDRESSINGS["normal, ids of the standard"]
    found = asked_of(unit, "22 21C7", "22 21C7", every_s=8.0, fault=UnitFault.PENDING)
    assert [(one.pending > 0, one.answer is not None) for one in found.exchanges] == [(True, True)] * 2


def test_an_answer_that_breaks_is_told_with_its_request() -> None:
    frames = [
        (0.00, 0x7E0, "0322010000000000"), (0.01, 0x7E8, "1014620100010203"), (0.02, 0x7E0, "3000000000000000"),
        (0.03, 0x7E8, "2104050607080910"), (0.04, 0x7E8, "2311121314151617"),
        (1.00, 0x7E0, "0322010000000000"), (1.01, 0x7E8, "0562010001020000"),
    ]  # fmt: skip
    heard = heard_from([("drive", Frame(can_id, bytes.fromhex(data), at=at)) for at, can_id, data in frames])
    broken, whole = dialogue(heard).exchanges
    assert broken.answer is None
    assert broken.broken is not None
    assert broken.broken.broken is not None
    assert broken.broken.broken.fault is Fault.SEQUENCE
    assert whole.answer is not None


def test_a_request_to_all_is_answered_by_each() -> None:
    frames = [(0.0, 0x7DF, "0201000000000000"), (0.01, 0x7E8, "0641008000000100"), (0.012, 0x7EB, "064100800000A100"),
              (0.02, 0x723, "0641008000000100")]  # fmt: skip
    heard = heard_from([("drive", Frame(can_id, bytes.fromhex(data), at=at)) for at, can_id, data in frames])
    found = dialogue(heard).exchanges
    assert [(str(one.to), str(one.by)) for one in found] == [("7DF", "723"), ("7DF", "7E8"), ("7DF", "7EB")]


def test_answers_whose_requests_were_not_recorded_are_still_answers() -> None:
    frames = [(0.1 * n, 0x7E8, f"03410D{n:02X}00000000") for n in range(20)]
    heard = heard_from([("drive", Frame(can_id, bytes.fromhex(data), at=at)) for at, can_id, data in frames])
    found = dialogue(heard).exchanges
    assert len(found) == 20
    assert all(one == Exchange(None, Sender("drive", 0x7E8), None, one.answer) for one in found)


def test_who_is_asked_the_same_and_says_nothing_is_asked_too() -> None:
    frames = [(0.0, 0x7E0, "0322F19000000000"), (0.01, 0x7E8, "037F223100000000"), (0.5, 0x740, "0322F19000000000")]
    heard = heard_from([("drive", Frame(can_id, bytes.fromhex(data), at=at)) for at, can_id, data in frames])
    found = dialogue(heard).exchanges
    assert [(str(one.to), one.refused, one.by is None) for one in found] == [("7E0", 0x31, False), ("740", None, True)]
