from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.contract.errors import UnderdashError
from underdash.diagnostics.isotp import Fault
from underdash.diagnostics.reassembly import Reassembly
from underdash.diagnostics.segmentation import AT_ONCE, Segmentation

VIN = bytes.fromhex("62F190") + bytes(range(0x41, 0x52))
CONTINUE, WAIT, OVERFLOW = bytes.fromhex("300000"), bytes.fromhex("310000"), bytes.fromhex("320000")

prefixes = st.none() | st.integers(0, 255)


def begun(payload: bytes = VIN, **settings: int) -> Segmentation:
    sender = Segmentation(payload, **settings)
    sender.start(0.0)
    return sender


def hexes(frames: list[bytes]) -> list[str]:
    return [frame.hex().upper() for frame in frames]


# --- messages ------------------------------------------------------------------------------------------------------


def test_a_message_goes_out_as_the_fact_sheet_has_it() -> None:
    sender = Segmentation(VIN)
    assert sender.start(0.0).hex().upper() == "101462F190414243"
    assert sender.due(0.5) == []
    assert sender.receive(CONTINUE, 0.5) is None
    assert hexes(sender.due(0.5)) == ["214445464748494A", "224B4C4D4E4F5051"]
    assert sender.done
    assert sender.deadline is None


@pytest.mark.parametrize("payload", [b"\x3e", bytes(range(7))])
def test_a_short_message_is_done_with_its_only_frame(payload: bytes) -> None:
    sender = Segmentation(payload)
    assert sender.start(0.0) == bytes([len(payload)]) + payload
    assert sender.done
    assert sender.due(10.0) == []
    assert sender.deadline is None


def test_a_message_can_be_sent_again() -> None:
    sender = begun()
    sender.receive(OVERFLOW, 0.0)
    assert sender.broken is not None
    assert sender.start(1.0).hex().upper() == "101462F190414243"
    sender.receive(CONTINUE, 1.0)
    assert len(sender.due(1.0)) == 2
    assert sender.done
    assert sender.broken is None


def test_an_empty_message_is_our_own_mistake() -> None:
    with pytest.raises(UnderdashError, match="0 bytes"):
        Segmentation(b"").start(0.0)


@settings(deadline=None, max_examples=200)
@given(
    st.binary(min_size=1, max_size=400) | st.integers(4000, 5000).map(bytes),
    st.tuples(prefixes, prefixes),
    st.integers(0, 9),
    st.sampled_from([0x00, 0x01, 0x7F, 0xF1, 0xF9]),
    st.integers(1, 40),
)
def test_both_ends_joined_bring_every_message_over_and_keep_to_the_terms(
    payload: bytes, addresses: tuple[int | None, int | None], block_size: int, st_min: int, most: int
) -> None:
    prefix, reply_prefix = addresses
    sender = Segmentation(payload, prefix, reply_prefix=reply_prefix)
    receiver = Reassembly(prefix, reply_prefix=reply_prefix, block_size=block_size, st_min=st_min, most_bytes=5000)
    gap_s = {0x01: 0.001, 0x7F: 0.127, 0xF1: 0.0001, 0xF9: 0.0009}.get(st_min, 0.0)
    now, sent_at, arrived, in_block = 0.0, -1.0, None, 0
    frames = [sender.start(now)]
    while arrived is None:
        for frame in frames:
            heard = receiver.receive(frame, now)
            assert heard.broken is None
            arrived = heard.payload
            if heard.reply is not None:
                in_block = 0
                assert sender.receive(heard.reply, now) is None
        if arrived is None:
            assert sender.deadline is not None
            now = max(now, sender.deadline)
            frames = sender.due(now, most)
            in_block += len(frames)
            assert frames
            assert len(frames) <= (1 if gap_s else most)
            assert now - sent_at >= gap_s - 1e-9 or in_block == len(frames)
            assert not block_size or in_block <= block_size
            sent_at = now
    assert arrived == payload
    assert sender.done


# --- the terms of the receiver ----------------------------------------------------------------------------------------


def test_after_a_block_it_waits_to_be_told() -> None:
    sender = begun(bytes(100))
    sender.receive(bytes.fromhex("300300"), 0.0)
    assert [frame[0] for frame in sender.due(0.0)] == [0x21, 0x22, 0x23]
    assert sender.due(0.0) == []
    assert sender.deadline == 1.0
    sender.receive(bytes.fromhex("300300"), 0.9)
    assert [frame[0] for frame in sender.due(0.9)] == [0x24, 0x25, 0x26]


@pytest.mark.parametrize(
    ("st_min", "gap_s"),
    [("01", 0.001), ("7F", 0.127), ("F1", 0.0001), ("F9", 0.0009), ("80", 0.127), ("F0", 0.127), ("FA", 0.127),
     ("FF", 0.127)],
)  # fmt: skip
def test_the_separation_time_is_kept_and_a_reserved_one_is_the_longest(st_min: str, gap_s: float) -> None:
    sender = begun(bytes(100))
    sender.receive(bytes.fromhex(f"3000{st_min}"), 2.0 - 1.5)
    assert [frame[0] for frame in sender.due(0.5)] == [0x21]
    assert sender.deadline == pytest.approx(0.5 + gap_s)
    assert sender.due(0.5 + gap_s * 0.99) == []
    assert [frame[0] for frame in sender.due(0.5 + gap_s * 1.01)] == [0x22]


def test_lost_time_is_not_caught_up() -> None:
    sender = begun(bytes(100))
    sender.receive(bytes.fromhex("30000A"), 0.0)
    assert len(sender.due(0.5)) == 1
    assert sender.due(0.505) == []
    assert sender.deadline == pytest.approx(0.51)


def test_without_a_separation_time_frames_come_in_handfuls() -> None:
    sender = begun(bytes(4095))
    sender.receive(CONTINUE, 0.0)
    assert len(sender.due(0.0)) == AT_ONCE
    assert sender.deadline == 0.0
    assert len(sender.due(0.0, most=3)) == 3


def test_the_first_flow_control_sets_the_terms() -> None:
    # as the Linux kernel's isotp.c
    sender = begun(bytes(100))
    sender.receive(bytes.fromhex("300200"), 0.0)
    assert len(sender.due(0.0)) == 2
    sender.receive(bytes.fromhex("30057F"), 0.0)
    assert len(sender.due(0.0)) == 2


def test_numbers_begin_with_one_and_go_on_with_nought_after_fifteen() -> None:
    sender = begun(bytes(6 + 7 * 33))
    sender.receive(CONTINUE, 0.0)
    assert [frame[0] & 0x0F for frame in sender.due(0.0, most=99)] == [number % 16 for number in range(1, 34)]


# --- every broken sequence ends in one named error --------------------------------------------------------------------


def test_a_receiver_without_room_ends_it() -> None:
    sender = begun()
    found = sender.receive(OVERFLOW, 0.0)
    assert found is not None
    assert found.fault is Fault.OVERFLOW
    assert "20 bytes" in found.why
    assert sender.broken is found
    assert not sender.done
    assert sender.due(9.0) == []
    assert sender.deadline is None
    assert sender.receive(CONTINUE, 0.1) is None


@pytest.mark.parametrize("status", range(3, 16))
def test_a_reserved_status_ends_it(status: int) -> None:
    found = begun().receive(bytes([0x30 | status, 0, 0]), 0.0)
    assert found is not None
    assert found.fault is Fault.RESERVED_STATUS


@pytest.mark.parametrize("text", ["30", "3000"])
def test_flow_control_that_is_cut_short_ends_it(text: str) -> None:
    found = begun().receive(bytes.fromhex(text), 0.0)
    assert found is not None
    assert found.fault is Fault.LENGTH


def test_a_receiver_that_says_nothing_for_a_second_ends_it_once() -> None:
    sender = begun()
    assert sender.deadline == 1.0
    assert sender.tick(0.999) is None
    found = sender.tick(1.0)
    assert found is not None
    assert found.fault is Fault.NO_FLOW_CONTROL
    assert found.why == "no flow control for 1 s after 6 of 20 bytes"
    assert sender.tick(2.0) is None


def test_flow_control_that_comes_too_late_does_not_revive_it() -> None:
    sender = begun()
    found = sender.receive(CONTINUE, 1.0)
    assert found is not None
    assert found.fault is Fault.NO_FLOW_CONTROL
    assert sender.due(1.0) == []


def test_a_receiver_may_ask_to_wait_which_starts_the_time_anew() -> None:
    sender = begun()
    for number in range(1, 5):
        assert sender.receive(WAIT, number * 0.9) is None
        assert sender.deadline == pytest.approx(number * 0.9 + 1.0)
        assert sender.due(number * 0.9) == []
    sender.receive(CONTINUE, 4.0)
    assert len(sender.due(4.0)) == 2


def test_a_receiver_that_only_ever_asks_to_wait_ends_it() -> None:
    sender = begun(most_waits=3)
    found = [sender.receive(WAIT, 0.1) for _ in range(4)]
    assert found[:3] == [None] * 3
    assert found[3] is not None
    assert found[3].fault is Fault.TOO_MANY_WAITS


def test_waits_are_counted_anew_for_each_block() -> None:
    sender = begun(bytes(100), most_waits=1)
    for _ in range(3):
        assert sender.receive(WAIT, 0.0) is None
        assert sender.receive(bytes.fromhex("300100"), 0.0) is None
        assert len(sender.due(0.0)) == 1


@pytest.mark.parametrize("text", ["", "03410D32", "1014000000000000", "2100", "00", "F1300000", "9900"])
def test_what_is_not_flow_control_is_passed_over(text: str) -> None:
    sender = begun()
    assert sender.receive(bytes.fromhex(text), 0.0) is None
    assert sender.receive(CONTINUE, 0.1) is None
    assert len(sender.due(0.1)) == 2


def test_flow_control_of_another_address_is_passed_over() -> None:
    sender = begun(prefix=0x12, reply_prefix=0xF1)
    for text in ("300000", "12300000", "13300000"):
        sender.receive(bytes.fromhex(text), 0.0)
        assert sender.due(0.0) == []
    sender.receive(bytes.fromhex("F1300000"), 0.0)
    assert len(sender.due(0.0)) == 3


def test_flow_control_nobody_waits_for_is_passed_over() -> None:
    sender = Segmentation(bytes(100))
    assert sender.receive(CONTINUE, 0.0) is None
    sender.start(0.0)
    sender.receive(bytes.fromhex("300001"), 0.0)
    assert len(sender.due(0.0)) == 1
    assert sender.receive(OVERFLOW, 0.0) is None
    assert len(sender.due(0.1)) == 1
    short = Segmentation(b"\x01\x0c")
    short.start(0.0)
    assert short.receive(OVERFLOW, 0.0) is None
    assert short.done


# --- random traffic ---------------------------------------------------------------------------------------------------

steps = st.tuples(
    st.sampled_from([CONTINUE, WAIT, OVERFLOW, b"\x30\x02\x01"]) | st.binary(max_size=9), st.floats(0, 0.5)
)


@settings(deadline=None, max_examples=300)
@given(st.lists(steps, max_size=60), st.integers(1, 200), prefixes)
def test_no_traffic_breaks_it_or_makes_it_send_what_it_should_not(
    traffic: list[tuple[bytes, float]], length: int, prefix: int | None
) -> None:
    payload = bytes(range(length))
    sender = Segmentation(payload, prefix)
    now, sent, ends = 0.0, [sender.start(0.0)], 0
    for data, pause in traffic:
        now += pause
        ends += sender.receive(data if prefix is None else bytes([prefix]) + data, now) is not None
        sent += sender.due(now)
        assert (sender.broken is not None) == (ends == 1)
        assert ends <= 1
    whole = Reassembly(prefix)
    arrived = [heard.payload for frame in sent if (heard := whole.receive(frame, 0.0)).payload is not None]
    assert arrived == ([payload] if sender.done else [])
    sender.start(now)
    assert sender.done or sender.deadline is not None
