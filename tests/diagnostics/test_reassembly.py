from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.contract.errors import UnderdashError
from underdash.diagnostics import pci
from underdash.diagnostics.isotp import Fault
from underdash.diagnostics.reassembly import NOTHING, Heard, Reassembly

VIN = bytes.fromhex("62F190") + bytes(range(0x41, 0x52))
FRAMES = ("101462F190414243", "214445464748494A", "224B4C4D4E4F5051")
"""The answer of the fact sheet, as an independent stack sends it."""

prefixes = st.none() | st.integers(0, 255)


def feed(receiver: Reassembly, *texts: str, at: float = 0.0) -> list[Heard]:
    return [receiver.receive(bytes.fromhex(text), at) for text in texts]


def frames_of(payload: bytes, prefix: int | None = None) -> Iterator[bytes]:
    """The frames of a message, spelt here by hand, independent of what sends them."""
    head = b"" if prefix is None else bytes([prefix])
    size = 7 - len(head)
    if len(payload) <= size:
        yield head + bytes([len(payload)]) + payload
        return
    pci_bytes = (0x1000 | len(payload)).to_bytes(2) if len(payload) < 4096 else b"\x10\x00" + len(payload).to_bytes(4)
    first = 8 - len(head) - len(pci_bytes)
    yield head + pci_bytes + payload[:first]
    for number, place in enumerate(range(first, len(payload), size), 1):
        yield head + bytes([0x20 | number % 16]) + payload[place : place + size]


def usable(receiver: Reassembly, now: float, prefix: int | None = None) -> bool:
    """Whether the next message arrives."""
    heard = [receiver.receive(frame, now) for frame in frames_of(VIN, prefix)]
    return heard[-1].payload == VIN and heard[0].reply is not None


# --- messages ------------------------------------------------------------------------------------------------------


def test_an_answer_in_several_frames_arrives_and_flow_control_goes_out_once() -> None:
    receiver = Reassembly()
    assert feed(receiver, *FRAMES) == [Heard(reply=bytes.fromhex("300000")), NOTHING, Heard(payload=VIN)]
    assert not receiver.receiving
    assert receiver.deadline is None


def test_an_answer_in_one_frame_arrives_without_a_word() -> None:
    assert feed(Reassembly(), "03410D3200000000") == [Heard(payload=bytes.fromhex("410D32"))]


@settings(deadline=None, max_examples=200)
@given(st.binary(min_size=1, max_size=300), prefixes, prefixes, st.integers(0, 20), st.sampled_from([0x00, 0xAA, 0xFF]))
def test_every_message_arrives_whatever_address_block_size_and_padding(
    payload: bytes, prefix: int | None, reply_prefix: int | None, block_size: int, padding: int
) -> None:
    receiver = Reassembly(prefix, reply_prefix=reply_prefix, block_size=block_size, st_min=0xF3)
    frames = [frame.ljust(8, bytes([padding])) for frame in frames_of(payload, prefix)]
    heard = [receiver.receive(frame, 0.0) for frame in frames]
    assert heard[-1] == Heard(payload=payload)
    answer = prefix if reply_prefix is None else reply_prefix
    flow = (b"" if answer is None else bytes([answer])) + bytes([0x30, block_size, 0xF3])
    replies = [number for number, one in enumerate(heard) if one.reply is not None]
    assert all(heard[number].reply == flow for number in replies)
    assert replies == [
        number for number in range(len(frames) - 1) if number == 0 or (block_size and number % block_size == 0)
    ]
    assert all(one.broken is None for one in heard)


@pytest.mark.parametrize("prefix", [None, 0x00, 0x5C])
@pytest.mark.parametrize("length", [4094, 4095, 4096, 4097, 70_000])
def test_long_messages_arrive_over_the_escape_too(length: int, prefix: int | None) -> None:
    payload = bytes(number * 7 % 251 for number in range(length))
    receiver = Reassembly(prefix, most_bytes=70_000)
    heard = [receiver.receive(frame, 0.0) for frame in frames_of(payload, prefix)]
    assert heard[-1].payload == payload


def test_while_it_receives_it_tells_whose_message_it_is() -> None:
    receiver = Reassembly()
    feed(receiver, FRAMES[0])
    assert receiver.receiving
    assert receiver.start == VIN[:6]
    assert receiver.length == 20
    feed(receiver, FRAMES[1])
    assert receiver.start == VIN[:8]


def test_several_units_answer_at_once_each_with_its_own() -> None:
    units = {response_id: Reassembly() for response_id in (0x7E8, 0x7E9, 0x7EA)}
    answers = {response_id: bytes([0x49, 0x02, 0x01]) + bytes([response_id & 0xFF]) * 17 for response_id in units}
    streams = {response_id: list(frames_of(answer)) for response_id, answer in answers.items()}
    arrived = {}
    for number in range(3):
        for response_id, receiver in units.items():
            heard = receiver.receive(streams[response_id][number], 0.001 * number)
            assert (heard.reply is not None) == (number == 0)
            if heard.payload is not None:
                arrived[response_id] = heard.payload
    assert arrived == answers


def test_units_that_share_an_id_pair_are_told_apart_by_their_address() -> None:
    seat, door = Reassembly(0x5C), Reassembly(0x67)
    other = bytes(range(30))
    mine, others = list(frames_of(VIN, 0x5C)), list(frames_of(other, 0x67))
    mixed = [frame for pair in zip(mine, others[: len(mine)], strict=True) for frame in pair] + others[len(mine) :]
    heard = [(seat.receive(frame, 0.0), door.receive(frame, 0.0)) for frame in mixed]
    assert [one.payload for one, _ in heard if one.payload] == [VIN]
    assert [one.payload for _, one in heard if one.payload] == [other]
    assert not [one for pair in heard for one in pair if one.broken]


# --- every broken sequence ends in one named error and leaves the channel usable --------------------------------------


def broken(receiver: Reassembly, *texts: str) -> list[Fault]:
    return [heard.broken.fault for heard in feed(receiver, *texts) if heard.broken is not None]


@pytest.mark.parametrize(
    ("fault", "texts"),
    [
        (Fault.SEQUENCE, (FRAMES[0], FRAMES[2])),
        (Fault.SEQUENCE, (FRAMES[0], FRAMES[1], FRAMES[1], FRAMES[2])),
        (Fault.SEQUENCE, (FRAMES[0], "2044454647484950", FRAMES[1], FRAMES[2])),
        (Fault.UNEXPECTED, (FRAMES[1], FRAMES[2], "23000000")),
        (Fault.INTERRUPTED, (FRAMES[0], FRAMES[0], FRAMES[1], FRAMES[2])),
        (Fault.INTERRUPTED, (FRAMES[0], FRAMES[1], "03410D32")),
        (Fault.LENGTH, ("00",)),
        (Fault.LENGTH, ("0F41000102030405",)),
        (Fault.LENGTH, ("1007010203040506",)),
        (Fault.LENGTH, ("101462F190", FRAMES[1], "22", FRAMES[2])),
        (Fault.LENGTH, ("21", "22", FRAMES[1])),
        (Fault.LENGTH, (FRAMES[0], "2144", FRAMES[2])),
        (Fault.LENGTH, (FRAMES[0], FRAMES[1], "224B4C4D4E4F50")),
        (Fault.TOO_LONG, ("1000000010000102", FRAMES[1], FRAMES[2])),
        (Fault.TOO_LONG, ("1000FFFFFFFF0102",)),
    ],
)
def test_a_broken_sequence_ends_in_one_named_error_and_the_next_message_arrives(
    fault: Fault, texts: tuple[str, ...]
) -> None:
    receiver = Reassembly()
    assert broken(receiver, *texts) == [fault]
    assert usable(receiver, 0.1)


def test_what_breaks_tells_in_numbers_where_and_whose_it_was() -> None:
    receiver = Reassembly()
    found = feed(receiver, FRAMES[0], FRAMES[2])[-1].broken
    assert found is not None
    assert found.why == "frame number 2 where 1 was next, after 6 of 20 bytes"
    assert found.start == VIN[:6]


def test_a_message_that_interrupts_is_itself_received() -> None:
    receiver = Reassembly()
    single = feed(receiver, FRAMES[0], "03410D32")[-1]
    assert single.payload == bytes.fromhex("410D32")
    assert single.broken is not None
    assert single.broken.fault is Fault.INTERRUPTED
    first = feed(receiver, FRAMES[0], FRAMES[0])[-1]
    assert first.reply == bytes.fromhex("300000")
    assert first.broken is not None
    assert [heard.payload for heard in feed(receiver, FRAMES[1], FRAMES[2])] == [None, VIN]


def test_a_message_that_is_too_long_is_declined_with_overflow() -> None:
    receiver = Reassembly(0x5C, reply_prefix=0xF1, most_bytes=100)
    heard = receiver.receive(bytes.fromhex("5C10656202034142"), 0.0)
    assert heard.reply == bytes.fromhex("F1320000")
    assert heard.broken is not None
    assert heard.broken.fault is Fault.TOO_LONG
    assert "101 bytes" in heard.broken.why
    assert heard.broken.start == bytes.fromhex("6202034142")
    assert receiver.receive(bytes.fromhex("5C10646202034142"), 0.0).reply == bytes.fromhex("F1300000")


def test_a_frame_that_contradicts_itself_inside_a_message_does_not_end_it() -> None:
    # ISO 15765-2: such frames are ignored
    receiver = Reassembly()
    heard = feed(receiver, FRAMES[0], "00", "0F", "1003", "21", "30", FRAMES[1], FRAMES[2])
    assert [one for one in heard if one != NOTHING] == [Heard(reply=bytes.fromhex("300000")), Heard(payload=VIN)]
    assert receiver.ignored == 5


@pytest.mark.parametrize("text", ["300000", "3000", "310000", "3F0000", "4000", "", "9900000000000000", "00" * 9])
def test_traffic_that_is_not_for_a_receiver_is_no_error(text: str) -> None:
    receiver = Reassembly()
    assert feed(receiver, text) == [NOTHING]
    assert feed(receiver, FRAMES[0], text, FRAMES[1], text, FRAMES[2])[-1].payload == VIN


# --- time ----------------------------------------------------------------------------------------------------------


def test_the_next_frame_has_a_second() -> None:
    receiver = Reassembly()
    receiver.receive(bytes.fromhex(FRAMES[0]), 5.0)
    assert receiver.deadline == 6.0
    assert receiver.tick(5.999) is None
    receiver.receive(bytes.fromhex(FRAMES[1]), 5.9)
    assert receiver.tick(6.899) is None
    found = receiver.tick(6.9)
    assert found is not None
    assert found.fault is Fault.NO_NEXT_FRAME
    assert found.why == "no next frame for 1 s after 13 of 20 bytes"
    assert receiver.tick(100.0) is None
    assert usable(receiver, 100.0)
    assert receiver.deadline is None


def test_time_counts_without_a_tick_too() -> None:
    receiver = Reassembly(n_cr_s=0.2)
    feed(receiver, FRAMES[0], at=0.0)
    (late,) = feed(receiver, FRAMES[1], at=0.2)
    assert late.broken is not None
    assert late.broken.fault is Fault.NO_NEXT_FRAME
    assert feed(receiver, FRAMES[2], at=0.2) == [NOTHING]
    feed(receiver, FRAMES[0], at=1.0)
    (again,) = feed(receiver, FRAMES[0], at=2.0)
    assert again.reply is not None
    assert again.broken is not None
    assert again.broken.fault is Fault.NO_NEXT_FRAME
    assert [one.payload for one in feed(receiver, FRAMES[1], FRAMES[2], at=2.1)] == [None, VIN]


def test_foreign_frames_do_not_keep_a_message_alive() -> None:
    receiver = Reassembly()
    feed(receiver, FRAMES[0])
    for tenth in range(1, 10):
        feed(receiver, "300000", "9900", at=tenth / 10)
    assert receiver.deadline == 1.0


def test_what_nobody_waits_for_is_forgotten_without_a_word() -> None:
    receiver = Reassembly()
    feed(receiver, FRAMES[0])
    receiver.reset()
    assert receiver.tick(10.0) is None
    assert not receiver.receiving
    assert usable(receiver, 10.0)


# --- settings ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("setting", "value"),
    [
        ("block_size", 256), ("block_size", -1), ("st_min", -1), ("st_min", 0x80), ("st_min", 0xF0), ("st_min", 0xFA),
        ("st_min", 0x100), ("most_bytes", 0), ("most_bytes", 2**32),
    ],
)  # fmt: skip
def test_settings_that_no_frame_can_carry_are_refused(setting: str, value: int) -> None:
    with pytest.raises(UnderdashError, match=r"(was|were) to be"):
        Reassembly(None, **{setting: value})


# --- random and mutated traffic ---------------------------------------------------------------------------------------

moments = st.floats(0, 0.4)
anything = st.binary(max_size=9)


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    """A frame of a real conversation with some bytes changed, cut or added."""
    data = bytearray.fromhex(draw(st.sampled_from([*FRAMES, "03410D32AAAAAAAA", "300000", "1000000010006202"])))
    for _ in range(draw(st.integers(0, 2))):
        data[draw(st.integers(0, len(data) - 1))] = draw(st.integers(0, 255))
    return bytes(data[: draw(st.integers(0, 8))]) if draw(st.booleans()) else bytes(data)


@settings(deadline=None, max_examples=300)
@given(st.lists(st.tuples(anything | mutated(), moments), max_size=60), prefixes, st.integers(0, 3))
def test_no_traffic_breaks_it_fills_the_memory_or_leaves_it_unusable(
    traffic: list[tuple[bytes, float]], prefix: int | None, block_size: int
) -> None:
    receiver = Reassembly(prefix, block_size=block_size, most_bytes=64)
    now = 0.0
    for data, pause in traffic:
        now += pause
        heard = receiver.receive(data if prefix is None else bytes([prefix]) + data[:7], now)
        if heard.payload is not None:
            assert 1 <= len(heard.payload) <= 64
        if heard.reply is not None:
            reply = pci.parse(heard.reply, prefix)
            assert isinstance(reply, pci.FlowControl)
        assert len(receiver._buffer) <= 64
        assert receiver.receiving == (receiver.deadline is not None)
    assert usable(receiver, now, prefix)


@settings(deadline=None, max_examples=200)
@given(st.data())
def test_a_conversation_with_a_frame_lost_doubled_or_swapped_never_gives_a_wrong_message(data: st.DataObject) -> None:
    # up to fifteen lost frames in a row are found by their numbers
    payload = data.draw(st.binary(min_size=20, max_size=120).map(lambda value: bytes(range(len(value)))))
    frames = list(frames_of(payload))
    for _ in range(data.draw(st.integers(1, 3))):
        place = data.draw(st.integers(0, len(frames) - 2))
        match data.draw(st.sampled_from(["lose", "double", "swap"])):
            case "lose" if len(frames) > 2:
                del frames[place]
            case "double":
                frames.insert(place, frames[place])
            case _:
                frames[place], frames[place + 1] = frames[place + 1], frames[place]
    receiver = Reassembly()
    heard = [receiver.receive(frame, 0.0) for frame in frames]
    assert all(one.payload in (None, payload) for one in heard)
