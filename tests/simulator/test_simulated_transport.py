"""The simulator's ISO-TP by itself, and against the diagnostics', which was written by another hand."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.contract.errors import UnderdashError
from underdash.diagnostics.reassembly import Reassembly
from underdash.diagnostics.segmentation import Segmentation
from underdash.simulator.faults import Fault
from underdash.simulator.manners import Manners
from underdash.simulator.transport import Transport, gap_of

MESSAGE = bytes(range(1, 31))
GO = bytes.fromhex("300000")


def hexed(replies: list[tuple[float, bytes]]) -> list[str]:
    return [data.hex(" ") for _, data in replies]


def begun(message: bytes = MESSAGE, manners: Manners | None = None, fault: Fault = Fault.NONE) -> Transport:
    transport = Transport(manners or Manners())
    [(after_s, first)] = transport.begin(message, 0.0, 0.01, fault)
    assert after_s == 0.01
    assert first == bytes((0x10 | len(message) >> 8, len(message) & 0xFF)) + message[:6]
    return transport


# --- out ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("st_min", "gap_s"),
    [(0, 0.0), (0x14, 0.020), (0x7F, 0.127), (0x80, 0.127), (0xF0, 0.127), (0xF1, 0.0001), (0xF9, 0.0009),
     (0xFA, 0.127), (0xFF, 0.127)],
)  # fmt: skip
def test_what_a_byte_of_stmin_means(st_min: int, gap_s: float) -> None:
    assert gap_of(st_min) == pytest.approx(gap_s)


def test_a_short_message_is_one_frame() -> None:
    assert Transport().begin(b"\x41\x05\x7b", 0.0, 0.0) == [(0.0, bytes.fromhex("0341057B"))]
    assert Transport(prefix=b"\x78").begin(bytes(6), 0.0, 0.0) == [(0.0, bytes.fromhex("7806000000000000"))]
    assert hexed(Transport(prefix=b"\x78").begin(bytes(7), 0.0, 0.0)) == ["78 10 07 00 00 00 00 00"]


def test_the_rest_follows_flow_control_as_fast_as_it_may() -> None:
    frames = begun().hear(GO, 0.02).replies
    assert [data[0] for _, data in frames] == [0x21, 0x22, 0x23, 0x24]
    assert b"".join(data[1:] for _, data in frames) == MESSAGE[6:]
    assert [after_s for after_s, _ in frames] == pytest.approx([0.001, 0.002, 0.003, 0.004])


def test_stmin_is_honoured() -> None:
    frames = begun().hear(bytes.fromhex("30000A"), 0.02).replies
    assert [b - a for (a, _), (b, _) in pairwise(frames)] == pytest.approx([0.010] * 3)


def test_blocks_wait_for_flow_control_and_the_first_one_says_how() -> None:
    transport = begun()
    assert [data[0] for _, data in transport.hear(bytes.fromhex("300205"), 0.02).replies] == [0x21, 0x22]
    assert transport.hear(GO, 0.027).replies == [], "the block is not out yet"
    second = transport.hear(GO, 0.04).replies
    assert [data[0] for _, data in second] == [0x23, 0x24]
    assert second[1][0] - second[0][0] == pytest.approx(0.005)
    assert transport.hear(GO, 0.10).replies == []
    assert transport.broken == 0


def test_numbers_wrap_after_15() -> None:
    frames = begun(bytes(200)).hear(GO, 0.02).replies
    assert [data[0] & 15 for _, data in frames][13:18] == [14, 15, 0, 1, 2]


def test_wait_extends_and_overflow_or_a_reserved_state_ends() -> None:
    patient = begun()
    assert patient.hear(bytes.fromhex("310000"), 0.9).replies == []
    assert len(patient.hear(GO, 1.8).replies) == 4
    for end in ("320000", "330000"):
        ended = begun()
        assert ended.hear(bytes.fromhex(end), 0.02).replies == []
        assert ended.hear(GO, 0.03).replies == []
        assert ended.broken == 1


def test_flow_control_that_comes_too_late_too_early_or_for_nothing_moves_nothing() -> None:
    late = begun()
    assert late.hear(GO, 1.02).replies == []
    assert late.broken == 1
    early = begun()
    assert early.hear(GO, 0.001).replies == []
    assert len(early.hear(GO, 0.02).replies) == 4
    assert Transport().hear(GO, 0.0).replies == []
    assert begun().hear(b"\x30", 0.02).replies == []


def test_a_new_request_takes_the_place_of_an_answer_that_waits_and_is_not_heard_while_frames_go_out() -> None:
    waiting = begun()
    assert waiting.hear(bytes.fromhex("020105"), 0.02).message == b"\x01\x05"
    assert waiting.hear(GO, 0.03).replies == []
    sending = begun()
    sending.hear(bytes.fromhex("300014"), 0.02)
    assert sending.hear(bytes.fromhex("020105"), 0.05).message is None
    assert sending.hear(bytes.fromhex("020105"), 0.11).message == b"\x01\x05"


def test_a_message_longer_than_twelve_bits_tells_its_length_in_four_bytes() -> None:
    transport = Transport()
    assert hexed(transport.begin(bytes(5000), 0.0, 0.0)) == ["10 00 00 00 13 88 00 00"]
    assert sum(len(data) - 1 for _, data in transport.hear(GO, 0.01).replies) == 4998


# --- in -------------------------------------------------------------------------------------------------------------


def test_a_longer_message_is_taken_with_flow_control_of_the_units_own() -> None:
    transport = Transport(Manners(block_size=1, st_min=0x14))
    assert hexed(transport.hear(bytes.fromhex("1010010203040506"), 0.0).replies) == ["30 01 14"]
    assert hexed(transport.hear(bytes.fromhex("2107080910111213"), 0.1).replies) == ["30 01 14"]
    whole = transport.hear(bytes.fromhex("22141516CCCCCCCC"), 0.2)
    assert whole.message == bytes.fromhex("01020304050607080910111213141516")
    assert whole.replies == []


def test_a_unit_may_have_the_sender_wait() -> None:
    replies = Transport(Manners(waits=2)).hear(bytes.fromhex("1010010203040506"), 0.0).replies
    assert hexed(replies) == ["31 00 00", "31 00 00", "30 00 00"]
    assert [at for at, _ in replies] == pytest.approx([0.001, 0.051, 0.101])


def test_what_is_too_long_for_it_it_says() -> None:
    transport = Transport(Manners(longest_message=20))
    assert hexed(transport.hear(bytes.fromhex("1015010203040506"), 0.0).replies) == ["32 00 00"]
    assert hexed(transport.hear(bytes.fromhex("1000000100000506"), 0.0).replies) == ["32 00 00"]
    assert transport.hear(bytes.fromhex("2107080910111213"), 0.1).message is None


@pytest.mark.parametrize(
    ("second", "at"),
    [("2207080910111213", 0.1), ("2107080910111213", 1.2), ("210708", 0.1)],
    ids=["wrong number", "too late", "too short"],
)
def test_a_broken_message_is_dropped_and_the_next_one_taken(second: str, at: float) -> None:
    transport = Transport()
    transport.hear(bytes.fromhex("1010010203040506"), 0.0)
    assert transport.hear(bytes.fromhex(second), at).message is None
    assert transport.broken == 1
    assert transport.hear(bytes.fromhex("020105"), at + 0.1).message == b"\x01\x05"


@pytest.mark.parametrize("data", ["", "00", "0801020304050607", "0501", "2101", "1003010203040506", "1010", "40", "F0"])
def test_frames_that_make_no_sense_are_passed_over(data: str) -> None:
    heard = Transport().hear(bytes.fromhex(data), 0.0)
    assert (heard.message, heard.replies) == (None, [])


@given(st.lists(st.tuples(st.binary(max_size=8), st.floats(0.0, 0.4)), max_size=40))
def test_no_sequence_of_frames_harms_it(frames: list[tuple[bytes, float]]) -> None:
    transport, now = Transport(Manners(block_size=3)), 0.0
    transport.begin(MESSAGE, now, 0.0)
    for data, pause_s in frames:
        now += pause_s
        transport.hear(data, now)
    assert transport.hear(bytes.fromhex("020105"), now + 5.0).message == b"\x01\x05"


# --- against the diagnostics ----------------------------------------------------------------------------------------

PREFIX = st.one_of(st.none(), st.integers(0, 255))


def _prefixed(prefix: int | None) -> bytes:
    return b"" if prefix is None else bytes((prefix,))


@settings(max_examples=60)
@given(st.binary(min_size=1, max_size=400), st.integers(0, 9), st.sampled_from([0, 1, 0x14, 0xF3]), PREFIX)
def test_what_it_sends_the_diagnostics_put_together(
    message: bytes, block_size: int, st_min: int, prefix: int | None
) -> None:
    unit = Transport(Manners(), _prefixed(prefix))
    receiver = Reassembly(prefix, block_size=block_size, st_min=st_min)
    queue, now = unit.begin(message, 0.0, 0.0), 0.0
    while queue:
        now, data = queue.pop(0)
        heard = receiver.receive(data.ljust(8, b"\xcc"), now)
        assert heard.broken is None
        if heard.payload is not None:
            assert heard.payload == message
            assert not queue
            return
        if heard.reply is not None:
            queue += [(now + after_s, more) for after_s, more in unit.hear(heard.reply, now).replies]
    raise AssertionError("the message never became whole")


@settings(max_examples=60)
@given(st.binary(min_size=1, max_size=400), st.integers(0, 9), st.sampled_from([0, 5, 0x80]), st.integers(0, 3), PREFIX)
def test_what_the_diagnostics_send_it_puts_together(
    message: bytes, block_size: int, st_min: int, waits: int, prefix: int | None
) -> None:
    manners = Manners(block_size=block_size, st_min=st_min, waits=waits, longest_message=4095)
    unit, sender = Transport(manners, _prefixed(prefix)), Segmentation(message, prefix)
    now, frames = 0.0, [sender.start(0.0)]
    while frames:
        for data in frames:
            heard = unit.hear(data.ljust(8, b"\xaa"), now)
            if heard.message is not None:
                assert heard.message == message
                assert sender.done
                return
            for after_s, reply in heard.replies:
                assert sender.receive(reply, now + after_s) is None
        now = max(sender.deadline or now, now)
        frames = sender.due(now, 1)
    raise AssertionError("the message never became whole")


@pytest.mark.parametrize(
    "wrong", [{"block_size": 256}, {"st_min": -1}, {"longest_message": 3}, {"identifiers_at_once": 0}], ids=str
)
def test_manners_that_cannot_be_are_named(wrong: dict[str, int]) -> None:
    [name] = wrong
    with pytest.raises(UnderdashError, match=name):
        Manners(**wrong)  # type: ignore[arg-type]
