from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.bus.bus_facts import BusFacts
from underdash.bus.caps import Caps
from underdash.bus.fingerprint import Fit, FitVerdict
from underdash.bus.frames import EXTENDED, Frame
from underdash.bus.guard import FlowControl, Guard
from underdash.bus.refusals import PASSING, Reason
from underdash.bus.services import Kind, service
from underdash.bus.templates import Parts, Span, template
from underdash.bus.vetting import MakerEvidence
from underdash.contract.cars import Exchange
from underdash.contract.requests import ControlUnit
from underdash.power.ignition import IgnitionState, Position

ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
BRAKES = ControlUnit("brakes", "drive", 0x7E2, 0x7EA)
TURBO = ControlUnit("turbo", "drive", 0x1F000100, 0x1F000200, extended=True, address=0x51)
GEARBOX = ControlUnit("gearbox", "drive", 0x1F000100, 0x1F000200, extended=True, address=0x53)
FORMAT = Parts(bytes.fromhex("9551B4123401"), (Span(3, 2, ((0x1234, 0x1240),)),), 2, address_at=1, maker="tarn")
TEMPLATES = (
    template(ENGINE, Parts(bytes.fromhex("02010C"), (Span(2, 1, ((0x0B, 0x0D),)),), 1)),
    template(BRAKES, Parts(bytes.fromhex("0322F190"), (Span(2, 2, ((0xF190, 0xF190),)),), 1)),
    template(TURBO, FORMAT),
    template(GEARBOX, replace(FORMAT, payload=bytes.fromhex("9553B4123401"))),
)
EVIDENCE = MakerEvidence(
    {"turbo": (0xB4,), "gearbox": (0xB4,)},
    (
        Exchange("tarn", "turbo", bytes.fromhex("9551B4123401"), 20, 9, "hash"),
        Exchange("tarn", "gearbox", bytes.fromhex("9553B4123401"), 20, 9, "hash"),
    ),
)
RPM = Frame(0x7E0, bytes.fromhex("02010C0000000000"))
SPEED = Frame(0x7E0, bytes.fromhex("02010D0000000000"))
VIN = Frame(0x7E2, bytes.fromhex("0322F19000000000"))
BOOST = Frame(0x1F000100, bytes.fromhex("9551B41234010000"), extended=True)
OIL = Frame(0x1F000100, bytes.fromhex("9553B41234010000"), extended=True)
ON = IgnitionState(Position.ON, True, "ignition on", until=1e9)
OFF = IgnitionState(Position.OFF, False, "ignition off")


def open_guard(caps: Caps | None = None) -> Guard:
    """Return a guard that lets declared requests out."""
    guard = Guard(TEMPLATES, caps=caps, evidence=EVIDENCE)
    guard.set_bus("drive", BusFacts(proven=True, transmit=True, bitrate=500_000))
    guard.ignition = ON
    guard.ignition_seen = True
    guard.fingerprint = FitVerdict(Fit.FITS, "the car is the described one")
    return guard


def why(guard: Guard, frame: Frame = RPM, now: float = 0.0) -> Reason | None:
    refusal = guard.verdict("drive", frame, now)
    return refusal.reason if refusal is not None else None


def send(guard: Guard, frame: Frame, now: float) -> Reason | None:
    """Send a frame if it may go out, and hear it back at once."""
    reason = why(guard, frame, now)
    if reason is None:
        guard.sent("drive", frame, now)
        guard.heard("drive", frame.key, frame.data, now)
    return reason


# --- the rules, one by one ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("frame", [RPM, SPEED, VIN, BOOST, OIL])
def test_a_declared_request_passes_when_every_rule_holds(frame: Frame) -> None:
    assert why(open_guard(), frame) is None


def test_a_new_guard_lets_nothing_out() -> None:
    assert why(Guard(TEMPLATES, evidence=EVIDENCE)) is Reason.TRANSMIT_OFF
    assert why(Guard(())) is Reason.NO_TEMPLATE


STANDING = [
    ("quiet", True, Reason.QUIET, "releases it"),
    ("ignition", OFF, Reason.IGNITION, "ignition off"),
    ("ignition", replace(ON, may_send=False), Reason.IGNITION, "ignition"),
    ("ignition", replace(ON, position=Position.START), Reason.IGNITION, "ignition"),
    ("ignition", replace(ON, position=Position.UNKNOWN), Reason.IGNITION, "ignition"),
    ("ignition", replace(ON, until=-1.0), Reason.IGNITION, "ran out"),
    ("ignition", replace(ON, until=float("nan")), Reason.IGNITION, "ran out"),
    ("ignition_seen", False, Reason.IGNITION_UNSEEN, "turn the key"),
    ("fingerprint", FitVerdict(Fit.WAITING, "waiting"), Reason.WRONG_CAR, "waiting"),
    ("fingerprint", FitVerdict(Fit.DIFFERS, "other"), Reason.WRONG_CAR, "other"),
    ("fingerprint", FitVerdict(Fit.ABSENT, "none"), Reason.WRONG_CAR, "none"),
]


@pytest.mark.parametrize(("fact", "value", "reason", "says"), STANDING)
def test_each_fact_alone_closes_the_guard(fact: str, value: object, reason: Reason, says: str) -> None:
    guard = open_guard()
    setattr(guard, fact, value)

    refusal = guard.verdict("drive", RPM, 0.0)

    assert refusal is not None
    assert refusal.reason is reason
    assert says in refusal.sentence
    assert guard.standing("drive", 0.0) == refusal


@pytest.mark.parametrize(
    ("facts", "reason"),
    [
        (BusFacts(proven=True, transmit=False), Reason.TRANSMIT_OFF),
        (BusFacts(proven=False, transmit=True), Reason.UNPROVEN),
        (BusFacts(virtual=True), Reason.TRANSMIT_OFF),
        (BusFacts(virtual=True, transmit=True), None),
    ],
)
def test_a_bus_must_be_proven_and_permitted(facts: BusFacts, reason: Reason | None) -> None:
    guard = open_guard()
    guard.set_bus("drive", facts)

    assert why(guard) is reason


def test_a_bus_that_plays_a_recorded_drive_is_not_asked_to_transmit() -> None:
    guard = open_guard()
    guard.recorded = frozenset({"drive"})
    refusal = guard.verdict("drive", RPM, 0.0)

    assert refusal is not None
    assert refusal.reason is Reason.RECORDED
    assert "transmit" not in refusal.sentence


def test_a_bus_whose_proof_is_lost_closes() -> None:
    guard = open_guard()
    guard.prove("drive", False)

    assert why(guard) is Reason.UNPROVEN


def test_a_request_is_bound_to_its_bus() -> None:
    guard = open_guard()
    guard.set_bus("comfort", BusFacts(proven=True, transmit=True))
    refusal = guard.verdict("comfort", RPM, 0.0)

    assert refusal is not None
    assert refusal.reason is Reason.NO_TEMPLATE


def test_nothing_goes_out_after_off_was_handed_in() -> None:
    guard = open_guard()
    assert send(guard, RPM, 10.0) is None

    guard.ignition = OFF

    assert why(guard, RPM, 10.001) is Reason.IGNITION


def test_a_persons_word_stands_in_for_the_proof_of_the_ignition_field() -> None:
    guard = open_guard()
    guard.ignition_seen = False
    guard.ignition = replace(ON, attended=True)

    assert why(guard) is None


@pytest.mark.parametrize("frame", [replace(RPM, fd=True), replace(RPM, error=True), replace(RPM, remote=True)])
def test_only_classic_data_frames_go_out(frame: Frame) -> None:
    assert why(open_guard(), frame) is Reason.NOT_CLASSIC


def test_a_request_that_was_refused_at_start_up_says_the_same_when_sent() -> None:
    guard = Guard([template(ENGINE, Parts(bytes.fromhex("0104"), (), 1))])
    frame = Frame(0x7E0, bytes.fromhex("0104000000000000"))

    assert [one.refusal.reason for one in guard.refused] == [Reason.SERVICE]
    assert guard.verdict("drive", frame, 0.0) == guard.refused[0].refusal


def test_refusals_are_counted_by_reason() -> None:
    guard = open_guard()
    why(guard, Frame(0x123, b""))
    why(guard, Frame(0x123, b""))
    guard.quiet = True
    why(guard)

    assert guard.report() == {"passed": 0, "not a declared request": 2, "quiet": 1}


def test_a_reloaded_description_replaces_the_requests() -> None:
    guard = open_guard()
    guard.reload(TEMPLATES[1:])

    assert why(guard, RPM) is Reason.NO_TEMPLATE
    assert why(guard, VIN) is None


# --- caps ---------------------------------------------------------------------------------------------------------


def test_one_frame_at_a_time_until_it_is_heard_back() -> None:
    guard = open_guard()
    guard.sent("drive", RPM, 0.0)

    assert why(guard, VIN, 0.01) is Reason.UNCONFIRMED

    guard.heard("drive", RPM.key, RPM.data, 0.011)
    assert why(guard, VIN, 0.012) is None


def test_a_frame_not_heard_back_blocks_the_bus_until_the_queue_is_flushed() -> None:
    guard = open_guard()
    guard.sent("drive", RPM, 0.0)

    assert not guard.blocked("drive", 0.05)
    assert guard.blocked("drive", 0.051)
    assert why(guard, VIN, 5.0) is Reason.BLOCKED

    guard.given_up("drive", 5.0)
    assert why(guard, VIN, 5.0) is None


def test_our_own_frame_that_comes_back_late_is_nobody_elses() -> None:
    guard = open_guard()
    guard.sent("drive", RPM, 0.0)
    guard.given_up("drive", 0.06)
    guard.heard("drive", RPM.key, RPM.data, 0.5)

    assert why(guard, SPEED, 0.5) is None


def test_a_unit_gets_five_milliseconds_between_requests() -> None:
    guard = open_guard()
    send(guard, RPM, 0.0)

    assert why(guard, SPEED, 0.0049) is Reason.ECU_GAP
    assert why(guard, VIN, 0.0049) is None
    assert why(guard, SPEED, 0.005) is None


def test_forty_requests_in_any_second_are_the_most() -> None:
    guard = open_guard()
    times = [i * 0.01 for i in range(100)]
    passed = [now for now in times if send(guard, RPM, now) is None]

    assert len(passed) == 40
    assert why(guard, RPM, 0.999) is Reason.RATE
    assert why(guard, RPM, 1.0) is None


def test_three_per_cent_of_a_slow_bus_are_the_most() -> None:
    guard = open_guard()
    guard.set_bus("drive", BusFacts(proven=True, transmit=True, bitrate=125_000))
    passed = [i for i in range(100) if send(guard, BOOST, i * 0.01) is None]

    # 3 % of 125 kbit/s over 160 bits, the worst 29-bit frame of eight bytes
    assert len(passed) == 23
    assert why(guard, BOOST, 0.99) is Reason.LOAD


def test_caps_can_be_lifted_by_a_caller() -> None:
    guard = open_guard(Caps(requests_per_s=1e6, load=1.0))

    assert all(send(guard, RPM, i * 0.006) is None for i in range(150))


def test_what_ends_by_itself_is_told_apart() -> None:
    assert {Reason.UNCONFIRMED, Reason.ECU_GAP, Reason.RATE, Reason.LOAD} == PASSING


# --- another tester -----------------------------------------------------------------------------------------------


def test_another_tester_on_our_request_id_makes_us_step_back_for_thirty_seconds() -> None:
    guard = open_guard()
    guard.heard("drive", 0x7E0, bytes.fromhex("0209020000000000"), 100.0)

    assert why(guard, RPM, 100.0) is Reason.OTHER_TESTER
    assert why(guard, VIN, 100.0) is None
    assert "20 s more" in str(guard.verdict("drive", RPM, 110.0))
    assert why(guard, RPM, 129.9) is Reason.OTHER_TESTER
    assert why(guard, RPM, 130.0) is None


def test_another_tester_of_the_other_unit_on_the_same_id_does_not_disturb() -> None:
    guard = open_guard()
    guard.heard("drive", BOOST.key, bytes.fromhex("9553B41234010000"), 0.0)

    assert why(guard, OIL) is Reason.OTHER_TESTER
    assert why(guard, BOOST) is None


def test_a_frame_too_short_for_an_address_counts_for_all_units_of_the_id() -> None:
    guard = open_guard()
    guard.heard("drive", BOOST.key, b"\xcd", 0.0)

    assert why(guard, OIL) is Reason.OTHER_TESTER
    assert why(guard, BOOST) is Reason.OTHER_TESTER


@pytest.mark.parametrize("key", [0x7DF, 0x18DB33F1 | EXTENDED])
def test_a_request_to_all_units_is_another_tester_for_every_unit(key: int) -> None:
    guard = open_guard()
    assert key in guard.keys("drive")
    guard.heard("drive", key, bytes.fromhex("0201000000000000"), 0.0)

    assert why(guard, RPM) is Reason.OTHER_TESTER
    assert why(guard, BOOST) is Reason.OTHER_TESTER


def test_a_request_equal_to_ours_that_we_did_not_send_is_another_testers() -> None:
    guard = open_guard()
    send(guard, RPM, 0.0)
    guard.heard("drive", RPM.key, RPM.data, 0.001)

    assert why(guard, RPM, 0.1) is Reason.OTHER_TESTER


def test_a_bus_nobody_asks_on_is_not_watched() -> None:
    assert open_guard().keys("comfort") == frozenset()


# --- flow control -------------------------------------------------------------------------------------------------

CONTINUE = Frame(0x7E2, bytes.fromhex("3000000000000000"))


def leave(frame: Frame = CONTINUE, until: float = 1.0) -> FlowControl:
    return FlowControl("drive", frame, "brakes", until)


def test_flow_control_of_an_answer_we_asked_for_passes_once() -> None:
    guard = open_guard()
    send(guard, VIN, 0.0)

    assert why(guard, CONTINUE, 0.001) is Reason.NO_TEMPLATE
    assert guard.expect_flow_control(leave(), 0.002) is None
    assert send(guard, CONTINUE, 0.002) is None
    assert why(guard, CONTINUE, 0.003) is Reason.NO_TEMPLATE


@pytest.mark.parametrize("data", ["3001000000000000", "3000010000000000", "30000000000000", "022E010000000000"])
def test_a_leave_is_for_the_very_frame(data: str) -> None:
    guard = open_guard()
    send(guard, VIN, 0.0)
    guard.expect_flow_control(leave(), 0.0)

    assert why(guard, Frame(0x7E2, bytes.fromhex(data)), 0.001) is Reason.NO_TEMPLATE


def test_flow_control_does_not_outlive_its_leave() -> None:
    guard = open_guard()
    send(guard, VIN, 0.0)
    guard.expect_flow_control(leave(), 0.0)

    assert why(guard, CONTINUE, 1.001) is Reason.NO_TEMPLATE


def test_flow_control_nobody_asked_for_gets_no_leave() -> None:
    guard = open_guard()
    first = guard.expect_flow_control(leave(), 0.0)
    send(guard, VIN, 0.0)
    late = guard.expect_flow_control(leave(until=10.0), 6.1)

    assert first is not None
    assert late is not None
    assert guard.counts[Reason.NO_ANSWER_DUE] == 2


@pytest.mark.parametrize(
    "frame",
    [
        Frame(0x7E2, bytes.fromhex("022E010000000000")),
        Frame(0x7E2, bytes.fromhex("3100000000000000")),
        Frame(0x7E2, b""),
        Frame(0x123, bytes.fromhex("3000000000000000")),
    ],
)
def test_nothing_else_passes_as_flow_control(frame: Frame) -> None:
    guard = open_guard()
    send(guard, VIN, 0.0)

    assert guard.expect_flow_control(leave(frame), 0.001) is not None
    assert why(guard, frame, 0.001) is Reason.NO_TEMPLATE


def test_flow_control_that_reads_as_clearing_codes_behind_an_address_byte_is_refused() -> None:
    elsewhere = ControlUnit("seat", "drive", 0x6E2, 0x6EA, block_size=0x04, st_min=0x14)
    guard = open_guard()
    guard.reload([template(elsewhere, Parts(bytes.fromhex("0322F190"), (Span(2, 2, ((0xF190, 0xF190),)),), 1))])
    send(guard, Frame(0x6E2, bytes.fromhex("0322F19000000000")), 0.0)
    odd = FlowControl("drive", Frame(0x6E2, bytes.fromhex("3004140000000000")), "seat", 1.0)
    refusal = guard.expect_flow_control(odd, 0.0)

    assert refusal is not None
    assert refusal.reason is Reason.LOOKS_LIKE


FAR = ControlUnit("seat", "drive", 0x6E2, 0x6EA, address=0x5C, reply_address=0xF1, block_size=8, st_min=0x14)


def asked_far() -> Guard:
    guard = open_guard()
    guard.reload([template(FAR, Parts(bytes.fromhex("5C0322F190"), (Span(3, 2, ((0xF190, 0xF190),)),), 2, 0))])
    assert send(guard, Frame(0x6E2, bytes.fromhex("5C0322F190000000")), 0.0) is None
    return guard


@pytest.mark.parametrize("data", ["5C30081400000000", "5C32000000000000"])
def test_flow_control_has_the_address_byte_and_the_terms_of_the_description(data: str) -> None:
    guard = asked_far()
    frame = Frame(0x6E2, bytes.fromhex(data))

    assert guard.expect_flow_control(FlowControl("drive", frame, "seat", 1.0), 0.002) is None
    assert send(guard, frame, 0.002) is None


@pytest.mark.parametrize(
    "data",
    ["F130081400000000", "5D30081400000000", "3008140000000000", "5C30000000000000", "5C300814", "5C30081400AA0000"],
)
def test_flow_control_with_any_other_byte_gets_no_leave(data: str) -> None:
    refusal = asked_far().expect_flow_control(FlowControl("drive", Frame(0x6E2, bytes.fromhex(data)), "seat", 1.0), 0.0)

    assert refusal is not None
    assert refusal.reason is Reason.NO_ANSWER_DUE


@pytest.mark.parametrize("data", ["5D0322F190000000", "F10322F190000000", "0322F19000000000"])
def test_a_request_with_another_address_byte_is_not_the_declared_one(data: str) -> None:
    assert why(asked_far(), Frame(0x6E2, bytes.fromhex(data)), 1.0) is Reason.NO_TEMPLATE


def test_flow_control_stops_with_the_ignition() -> None:
    guard = open_guard()
    send(guard, VIN, 0.0)
    guard.expect_flow_control(leave(), 0.0)
    guard.ignition = OFF

    assert why(guard, CONTINUE, 0.001) is Reason.IGNITION


# --- whatever happens ---------------------------------------------------------------------------------------------

EVERYTHING_DECLARED = {
    *((0x7E0, f"02010{n:x}0000000000") for n in range(0xB, 0xE)),
    (0x7E2, "0322f19000000000"),
    *((BOOST.key, f"95{unit}b4{n:04x}010000") for n in range(0x1234, 0x1241) for unit in ("51", "53")),
}
INSTANCES = {(key, bytes.fromhex(data)) for key, data in EVERYTHING_DECLARED}
KEYS = st.sampled_from([0x7E0, 0x7E2, 0x7DF, 0x123, BOOST.key, 0x7E0 | EXTENDED]) | st.integers(0, 0x7FF)


@st.composite
def frames(draw: st.DrawFn) -> Frame:
    """Draw anything from declared requests over near misses to noise."""
    known = [(one.key, one.data) for one in (RPM, SPEED, VIN, VIN, BOOST, OIL, CONTINUE, CONTINUE)]
    key, data = draw(st.sampled_from(known) | st.sampled_from(known) | st.tuples(KEYS, st.binary(max_size=10)))
    if draw(st.integers(0, 5)) == 0 and data:
        place = draw(st.integers(0, len(data) - 1))
        data = data[:place] + bytes([draw(st.integers(0, 255))]) + data[place + 1 :]
    if draw(st.integers(0, 9)) == 0:
        data = data[: draw(st.integers(0, 8))]
    return Frame(key & 0x1FFF_FFFF, data, bool(key & EXTENDED), fd=draw(st.integers(0, 9)) == 0)


WHAT = ["send"] * 8 + ["back"] * 5 + ["leave"] * 2 + ["hear", "flush", "ignition", "quiet"]
STEPS = st.lists(
    st.tuples(
        st.sampled_from(WHAT),
        frames(),
        st.sampled_from([0.0, 0.003, 0.006, 0.02, 0.06, 31.0]),
        st.sampled_from([Position.ON] * 5 + list(Position)),
    ),
    min_size=25,
    max_size=60,
)


@settings(max_examples=100, deadline=None)
@given(STEPS)
def test_nothing_passes_but_declared_requests_and_nothing_denied_however_it_is_read(
    steps: list[tuple[str, Frame, float, Position]],
) -> None:
    guard = open_guard()
    now = 0.0
    unconfirmed: Frame | None = None
    for what, frame, pause, position in steps:
        now += pause
        match what:
            case "send" if guard.verdict("drive", frame, now) is None:
                flow_control = frame.data[:1] in (b"\x30", b"\x32")
                assert not frame.fd
                assert flow_control or (frame.key, frame.data) in INSTANCES
                assert not guard.quiet
                assert guard.ignition.position is Position.ON
                for number in services_found(frame):
                    assert service(number).kind is Kind.READS or (number == 0xB4 and frame.key == BOOST.key)
                assert unconfirmed is None
                unconfirmed = frame
                guard.sent("drive", frame, now)
            case "back" if unconfirmed is not None:
                guard.heard("drive", unconfirmed.key, unconfirmed.data, now)
                unconfirmed = None
            case "hear":
                guard.heard("drive", frame.key, frame.data, now)
                if unconfirmed and (frame.key, frame.data) == (unconfirmed.key, unconfirmed.data):
                    unconfirmed = None
            case "flush":
                guard.given_up("drive", now)
                unconfirmed = None
            case "ignition":
                guard.ignition = replace(ON, position=position, may_send=position is Position.ON)
            case "quiet":
                guard.quiet = position is Position.OFF
            case "leave":
                due = frame if frame.key == CONTINUE.key else CONTINUE
                guard.expect_flow_control(FlowControl("drive", due, "brakes", now + 1), now)


def services_found(frame: Frame) -> set[int]:
    """Read a frame as ISO 15765-2, behind an address byte only where its id can have one."""
    found = set()
    for start in (0, 1) if frame.extended else (0,):
        kind = frame.data[start]
        if 0x01 <= kind <= 0x07 - start:
            found.add(frame.data[start + 1])
        if 0x10 <= kind <= 0x1F:
            found.add(frame.data[start + 2])
    return found
