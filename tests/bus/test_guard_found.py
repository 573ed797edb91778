"""What the search for frames that get out has found, one by one, so that it stays found."""

from __future__ import annotations

from dataclasses import replace

import pytest

from underdash.bus.bus_facts import BusFacts
from underdash.bus.caps import Caps
from underdash.bus.fingerprint import Fit, FitVerdict
from underdash.bus.frames import Frame
from underdash.bus.guard import FlowControl, Guard
from underdash.bus.refusals import Reason
from underdash.bus.templates import Parts, Span, template
from underdash.contract.requests import ControlUnit
from underdash.power.ignition import IgnitionState, Position

RPM = Frame(0x7E0, bytes.fromhex("02010C0000000000"))
SPEED = Frame(0x7E0, bytes.fromhex("02010D0000000000"))
ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)


def asks(unit: ControlUnit, identifier: int) -> Parts:
    return Parts(bytes((2, 1, identifier)), (Span(2, 1, ((identifier, identifier),)),), 1)


def open_guard(*units: tuple[ControlUnit, int], caps: Caps | None = None) -> Guard:
    guard = Guard([template(unit, asks(unit, identifier)) for unit, identifier in units], caps=caps)
    guard.set_bus("drive", BusFacts(transmit=True, virtual=True))
    guard.ignition = IgnitionState(Position.ON, True, "on", until=1e9)
    guard.ignition_seen = True
    guard.fingerprint = FitVerdict(Fit.FITS, "fits")
    return guard


def send(guard: Guard, frame: Frame, now: float) -> Reason | None:
    refusal = guard.verdict("drive", frame, now)
    if refusal is None:
        guard.sent("drive", frame, now)
        guard.heard("drive", frame.key, frame.data, now)
    return refusal.reason if refusal else None


def test_an_adapter_that_comes_back_brings_no_fresh_caps() -> None:
    guard = open_guard((ENGINE, 0x0C), caps=Caps(requests_per_s=2))
    assert [send(guard, RPM, at) for at in (0.0, 0.1)] == [None, None]
    guard.set_bus("drive", BusFacts(transmit=True, proven=True, bitrate=500_000))
    guard.set_bus("drive", BusFacts(transmit=True, virtual=True))

    assert send(guard, RPM, 0.2) is Reason.RATE


def test_two_names_for_one_unit_share_its_pause() -> None:
    guard = open_guard((ENGINE, 0x0C), (replace(ENGINE, name="again"), 0x0D))
    assert send(guard, RPM, 0.0) is None

    assert send(guard, SPEED, 0.004) is Reason.ECU_GAP
    assert send(guard, SPEED, 0.006) is None


@pytest.mark.parametrize("gap_s", [0.0, -1.0, float("nan")])
def test_no_description_in_code_makes_the_pause_shorter(gap_s: float) -> None:
    guard = open_guard((replace(ENGINE, gap_s=gap_s), 0x0C))
    assert send(guard, RPM, 0.0) is None

    assert send(guard, RPM, 0.004) is Reason.ECU_GAP


def test_a_request_to_all_units_gives_way_to_a_tester_of_one() -> None:
    everybody = ControlUnit("everybody", "drive", 0x7DF, 0x7EF)
    guard = open_guard((ENGINE, 0x0C), (everybody, 0x0C))
    guard.heard("drive", 0x7E0, bytes.fromhex("0209020000000000"), 0.0)

    assert send(guard, replace(RPM, id=0x7DF), 1.0) is Reason.OTHER_TESTER


class Turncoat(bytes):
    """Bytes that could show one thing and be another."""


@pytest.mark.parametrize("data", [bytearray(RPM.data), Turncoat(RPM.data)])
def test_only_plain_bytes_go_out(data: bytes) -> None:
    assert send(open_guard((ENGINE, 0x0C)), replace(RPM, data=data), 0.0) is Reason.NOT_CLASSIC


class Chameleon(int):
    """A number that claims to be another one: here 7E0."""

    def __eq__(self, other: object) -> bool:
        return other == 0x7E0

    def __hash__(self) -> int:
        return hash(0x7E0)


def test_only_plain_numbers_are_ids() -> None:
    assert send(open_guard((ENGINE, 0x0C)), replace(RPM, id=Chameleon(0x123)), 0.0) is Reason.NOT_CLASSIC


@pytest.mark.parametrize(
    "can_id",
    [
        pytest.param(0x12345678, id="the kernel would cut it to 678"),
        pytest.param(0x4000_07E0, id="a remote frame"),
        pytest.param(0x8000_0123, id="29 bits after all"),
        pytest.param(0x800, id="one too many"),
        pytest.param(-1, id="below zero"),
    ],
)
def test_an_id_that_does_not_fit_its_bits_is_no_way_to_another_one(can_id: int) -> None:
    guard = open_guard((replace(ENGINE, request_id=can_id), 0x0C))

    assert send(guard, replace(RPM, id=can_id), 0.0) is Reason.NOT_CLASSIC


def test_an_id_of_more_than_29_bits_is_none() -> None:
    guard = open_guard((replace(ENGINE, request_id=0x3FFF_FFFF, extended=True), 0x0C))

    assert send(guard, replace(RPM, id=0x3FFF_FFFF, extended=True), 0.0) is Reason.NOT_CLASSIC


def test_a_reload_takes_back_the_leave_for_flow_control_of_the_description_that_is_gone() -> None:
    before = replace(ENGINE, block_size=8)
    guard = open_guard((before, 0x0C))
    flow = Frame(0x7E0, bytes.fromhex("3008000000000000"))
    assert send(guard, RPM, 0.0) is None
    assert guard.expect_flow_control(FlowControl("drive", flow, "engine", 1.0), 0.01) is None
    guard.reload([template(ENGINE, asks(ENGINE, 0x0C))])

    assert send(guard, flow, 0.02) is Reason.NO_TEMPLATE


def test_units_whose_flow_control_is_never_let_out_are_known_before_anything_is_asked() -> None:
    seat = ControlUnit("seat", "drive", 0x6E2, 0x6EA, block_size=2, st_min=0x11)
    guard = open_guard((seat, 0x0C), (seat, 0x0D), (ENGINE, 0x0C))

    assert [one.template.unit for one in guard.flows_refused] == ["seat"]
    assert send(guard, Frame(0x6E2, RPM.data), 0.0) is None
