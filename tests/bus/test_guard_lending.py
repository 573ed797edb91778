"""What is lent to the guard for a request by hand: the same rules, for one request, until the next."""

from __future__ import annotations

import pytest

from underdash.bus.bus_facts import BusFacts
from underdash.bus.fingerprint import Fit, FitVerdict
from underdash.bus.frames import Frame
from underdash.bus.guard import Guard
from underdash.bus.legislated import FUNCTIONAL
from underdash.bus.refusals import Reason
from underdash.bus.templates import Parts, Span, Template, template
from underdash.contract.requests import ControlUnit
from underdash.power.ignition import IgnitionState, Position

ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
BRAKES = ControlUnit("brakes", "drive", 0x7E2, 0x7EA)


def request(unit: ControlUnit, text: str) -> Template:
    payload = bytes.fromhex(text)
    number = int.from_bytes(payload[2:])
    return template(unit, Parts(payload, (Span(2, len(payload) - 2, ((number, number),)),), 1))


DECLARED = request(ENGINE, "02010C")
LENT = request(BRAKES, "0322F190")
RPM = Frame(0x7E0, bytes.fromhex("02010C0000000000"))
VIN = Frame(0x7E2, bytes.fromhex("0322F19000000000"))
NEXT = Frame(0x7E2, bytes.fromhex("0322F19100000000"))


@pytest.fixture
def guard() -> Guard:
    made = Guard([DECLARED], in_use=[("drive", 0x7E5)])
    made.set_bus("drive", BusFacts(proven=True, transmit=True, bitrate=500_000))
    made.ignition = IgnitionState(Position.ON, True, "on", until=1e9)
    made.ignition_seen = True
    made.fingerprint = FitVerdict(Fit.FITS, "it is")
    return made


def why(guard: Guard, frame: Frame, now: float = 0.0) -> Reason | None:
    refusal = guard.verdict("drive", frame, now)
    return None if refusal is None else refusal.reason


def test_what_is_lent_passes_until_the_next_and_nothing_beside_it(guard: Guard) -> None:
    assert why(guard, VIN) is Reason.NO_TEMPLATE
    assert guard.lend(LENT) is None
    assert why(guard, VIN) is None
    assert why(guard, NEXT) is Reason.NO_TEMPLATE
    assert guard.lend(request(BRAKES, "0322F191")) is None
    assert why(guard, VIN) is Reason.NO_TEMPLATE
    assert guard.lend(None) is None
    assert why(guard, NEXT) is Reason.NO_TEMPLATE


def test_lending_what_is_declared_leaves_it_declared(guard: Guard) -> None:
    guard.lend(DECLARED)
    guard.lend(None)
    assert why(guard, RPM) is None


@pytest.mark.parametrize("payload", ["022E01", "0211F1", "021001", "022701", "023101", "020401", "023E00", "02B401"])
def test_what_does_more_than_read_is_not_lent(guard: Guard, payload: str) -> None:
    guard.lend(LENT)
    refusal = guard.lend(request(BRAKES, payload))
    assert refusal is not None
    assert refusal.reason is Reason.SERVICE
    assert why(guard, Frame(0x7E2, bytes.fromhex(payload).ljust(8, b"\0"))) is Reason.NO_TEMPLATE
    assert why(guard, VIN) is Reason.NO_TEMPLATE


def test_what_the_car_itself_sends_is_not_lent(guard: Guard) -> None:
    refusal = guard.lend(request(ControlUnit("odd", "drive", 0x7E5, 0x7ED), "0322F190"))
    assert refusal is not None
    assert refusal.reason is Reason.ID_IN_USE


def test_quiet_and_the_ignition_hold_for_what_is_lent(guard: Guard) -> None:
    guard.lend(LENT)
    guard.quiet = True
    assert why(guard, VIN) is Reason.QUIET
    guard.quiet = False
    guard.ignition = IgnitionState(Position.OFF, False, "off")
    assert why(guard, VIN) is Reason.IGNITION


@pytest.mark.parametrize("key", [0x7E2, *FUNCTIONAL])
def test_another_tester_that_spoke_before_holds_what_is_lent_later(guard: Guard, key: int) -> None:
    guard.heard("drive", key, bytes.fromhex("0322F19000000000"), 0.0)
    guard.lend(LENT)
    assert why(guard, VIN, 29.0) is Reason.OTHER_TESTER
    assert why(guard, VIN, 31.0) is None
