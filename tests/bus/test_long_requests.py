from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.bus.bus_facts import BusFacts
from underdash.bus.fingerprint import Fit, FitVerdict
from underdash.bus.frames import Frame
from underdash.bus.guard import Guard
from underdash.bus.long_requests import LongRequest
from underdash.bus.refusals import Reason
from underdash.bus.templates import Parts, Span, template
from underdash.contract.requests import ControlUnit
from underdash.power.ignition import IgnitionState, Position

UNIT = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
RANGES = ((0x1000, 0x1010), (0xF190, 0xF190))
TEMPLATE = template(UNIT, Parts(bytes.fromhex("03221000"), (Span(2, 2, RANGES),), 1))
GOOD = ("100B221000100110", "2102100310040000")


def frames(*texts: str) -> tuple[Frame, ...]:
    return tuple(Frame(0x7E0, bytes.fromhex(text)) for text in texts)


def guard() -> Guard:
    made = Guard([TEMPLATE])
    made.set_bus("drive", BusFacts(proven=True, transmit=True, virtual=True))
    made.ignition = IgnitionState(Position.ON, True, "on", 1e9)
    made.ignition_seen = True
    made.fingerprint = FitVerdict(Fit.FITS, "it is")
    return made


def leave(*texts: str, until: float = 5.0) -> LongRequest:
    return LongRequest("drive", frames(*texts), "engine", until)


def test_the_frames_of_declared_requests_put_together_pass_in_their_order_and_once() -> None:
    one = guard()
    first, second = frames(*GOOD)
    assert one.verdict("drive", first, 0.0) is not None, "not before it was announced"
    assert one.expect_long(leave(*GOOD)) is None
    assert one.verdict("drive", second, 0.0) is not None, "not before the first"
    for now, frame in ((0.0, first), (0.01, second)):
        assert one.verdict("drive", frame, now) is None
        one.sent("drive", frame, now)
        assert one.heard("drive", 0x7E0, frame.data, now)
    assert one.verdict("drive", first, 1.0) is not None
    assert one.verdict("drive", second, 1.0) is not None


@pytest.mark.parametrize(
    "texts",
    [
        ("100B221000100120", "2102100310040000"),  # an identifier nobody declared
        ("100B2E1000100110", "2102100310040000"),  # a service that writes
        ("100B221000100110", "2202100310040000"),  # another number
        ("100B221000100110", "2102100310040001"),  # other padding
        ("100B221000100110", "21021003100400"),  # no padding
        ("100A221000100110", "2102100310040000"),  # half an identifier
        ("100B221000100110",),
        ("100B221000100110", "2102100310040000", "2202100310040000"),
        ("0322100000000000",),
        ("1007221000100110",),
    ],
)
def test_anything_else_is_no_leave(texts: tuple[str, ...]) -> None:
    one = guard()
    refusal = one.expect_long(leave(*texts))
    assert refusal is not None
    assert refusal.reason is Reason.NO_TEMPLATE


def test_on_an_id_that_no_standard_fixes_there_are_no_long_requests() -> None:
    unit = replace(UNIT, request_id=0x700)
    made = Guard([template(unit, Parts(bytes.fromhex("03221000"), (Span(2, 2, ((0x1000, 0x1010),)),), 1))])
    request = LongRequest("drive", tuple(Frame(0x700, frame.data) for frame in frames(*GOOD)), "engine", 5.0)
    assert made.expect_long(request) is not None


def test_the_leave_ends_and_every_rule_about_the_moment_holds_for_it_too() -> None:
    one = guard()
    one.expect_long(leave(*GOOD, until=1.0))
    first, _ = frames(*GOOD)
    assert one.verdict("drive", first, 1.5) is not None
    one.quiet = True
    refusal = one.verdict("drive", first, 0.5)
    assert refusal is not None
    assert refusal.reason is Reason.QUIET


@given(st.lists(st.binary(max_size=8), min_size=1, max_size=4))
def test_no_bytes_get_leave_that_carry_more_than_declared_identifiers(datas: list[bytes]) -> None:
    one = guard()
    request = LongRequest("drive", tuple(Frame(0x7E0, data) for data in datas), "engine", 5.0)
    if one.expect_long(request) is None:
        body = datas[0][3:] + b"".join(data[1:] for data in datas[1:])
        assert datas[0][2] == 0x22
        assert body[:2] in [n.to_bytes(2) for low, high in RANGES for n in range(low, high + 1)]
