"""One request by hand: every way in which it can end."""

from __future__ import annotations

import pytest

from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.diagnostics.inquiry import PATIENCE_S, Inquiry, Kind
from underdash.diagnostics.requests import compile_by_hand
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store

CAR = CarDescription(
    "small", "Small", (BusDescription("drive", 500_000),), units=(ControlUnit("engine", "drive", 0x7E0, 0x7E8),)
)


def inquiry(protocol: str = "identifier_22", identifier: int = 0xF190) -> Inquiry:
    request = PollRequest("engine", protocol, identifier, ())
    return Inquiry(compile_by_hand(CAR, request, Store(CATALOGUE)), 0.0)


def test_an_answer_gives_its_bytes() -> None:
    came = inquiry().receive(bytes.fromhex("0562F190ABCD0000"), 0.02)
    assert came is not None
    assert (came.kind, came.data) == (Kind.ANSWERED, b"\xab\xcd")
    assert came.sentence == "engine answered in 20 ms"


@pytest.mark.parametrize("other", ["0562F191ABCD0000", "03410C0000000000", "037F2131", "30000A", "", "FF", "00"])
def test_what_answers_another_request_is_passed_over(other: str) -> None:
    one = inquiry()
    assert one.receive(bytes.fromhex(other), 0.02) is None
    assert one.tick(0.1) is None


def test_a_refusal_has_its_code_and_its_name() -> None:
    came = inquiry().receive(bytes.fromhex("037F223100000000"), 0.02)
    assert came is not None
    assert (came.kind, came.code) == (Kind.REFUSED, 0x31)
    assert came.sentence == "engine says it does not know this identifier (requestOutOfRange, code 31)"


def test_a_unit_that_works_on_it_gets_more_time_but_not_for_ever() -> None:
    one = inquiry()
    assert one.receive(bytes.fromhex("037F227800000000"), 0.1) is None
    assert one.tick(3.0) is None
    came = one.receive(bytes.fromhex("0462F19001000000"), 4.0)
    assert came is not None
    assert came.kind is Kind.ANSWERED
    for at in range(1, 60):
        one.receive(bytes.fromhex("037F227800000000"), float(at))
    assert one.deadline <= 30.0 + PATIENCE_S


def test_a_unit_that_never_comes_to_an_end_is_told_as_such() -> None:
    one = inquiry()
    for at in range(1, 30):
        one.receive(bytes.fromhex("037F227800000000"), float(at))
    came = one.tick(30.0 + PATIENCE_S)
    assert came is not None
    assert came.kind is Kind.SILENT
    assert came.sentence == "engine said that it is still working on the answer, and gave no answer within 30.5 s"


def test_silence_is_said_after_the_time_that_is_described_and_some_patience() -> None:
    one = inquiry()
    assert one.tick(0.25 + PATIENCE_S - 0.01) is None
    came = one.tick(0.25 + PATIENCE_S)
    assert came is not None
    assert came.kind is Kind.SILENT
    assert "did not answer within 0.75 s" in came.sentence


def test_an_answer_that_comes_too_late_is_shown_with_the_remedy() -> None:
    came = inquiry().receive(bytes.fromhex("0462F19001000000"), 0.5)
    assert came is not None
    assert (came.kind, came.data) == (Kind.LATE, b"\x01")
    assert "raise answer_within_s of unit.engine" in came.sentence


def test_an_answer_in_several_frames_is_asked_to_go_on() -> None:
    one = inquiry()
    assert one.receive(bytes.fromhex("100A62F190010203"), 0.1) is None
    assert one.reply is not None
    assert one.reply[:1] == b"\x30"
    came = one.receive(bytes.fromhex("2104050607000000"), 0.6)
    assert came is not None
    assert (came.kind, came.data) == (Kind.ANSWERED, bytes(range(1, 8)))


def test_another_testers_long_answer_gets_no_flow_control_from_us() -> None:
    one = inquiry()
    assert one.receive(bytes.fromhex("100A62F191010203"), 0.1) is None
    assert one.reply is None


def test_an_answer_that_breaks_off_is_told() -> None:
    one = inquiry()
    one.receive(bytes.fromhex("100A62F190010203"), 0.1)
    came = one.receive(bytes.fromhex("2504050607000000"), 0.2)
    assert came is not None
    assert came.kind is Kind.BROKEN


def test_an_answer_whose_next_frame_does_not_come_is_no_silence() -> None:
    one = inquiry()
    one.receive(bytes.fromhex("100A62F190010203"), 0.1)
    came = one.tick(one.deadline)
    assert came is not None
    assert (came.kind, "no next frame for 1 s" in came.sentence) == (Kind.BROKEN, True)


def test_an_answer_that_is_longer_than_we_take_is_declined_and_told() -> None:
    one = inquiry()
    came = one.receive(bytes.fromhex("10000000138862F1"), 0.1)
    assert one.reply == b"\x32\0\0"
    assert came is not None
    assert (came.kind, "5000 bytes" in came.sentence) == (Kind.BROKEN, True)
