from __future__ import annotations

from binascii import crc_hqx

import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash_serial_panel.framing import (
    MOST_BODY,
    MOST_CODED,
    MOST_PAYLOAD,
    Deframer,
    Frame,
    on_wire,
    read_body,
    stuffed,
    unstuffed,
)
from underdash_serial_panel.reference import Controller

FRAMES = st.builds(Frame, st.integers(0, 255), st.integers(0, 255), st.binary(max_size=MOST_PAYLOAD))


def test_the_checksum_is_the_one_that_the_catalogue_calls_ibm_3740() -> None:
    assert crc_hqx(b"123456789", 0xFFFF) == 0x29B1


def test_the_reference_adds_up_the_same_checksum_bit_by_bit() -> None:
    controller = Controller(0, 0)
    controller.frame[:9] = b"123456789"
    assert controller.sum(9) == 0x29B1


@given(st.binary(max_size=MOST_BODY))
def test_stuffing_is_that_of_an_independent_library(data: bytes) -> None:
    assert stuffed(data) == cobs.encode(data)
    assert unstuffed(stuffed(data)) == data


@pytest.mark.parametrize("length", [0, 1, 253, MOST_BODY])
@pytest.mark.parametrize("byte", [0, 1, 255])
def test_the_longest_and_the_dullest_are_stuffed_with_one_byte_more(length: int, byte: int) -> None:
    data = bytes((byte,)) * length
    assert stuffed(data) == cobs.encode(data)
    assert len(stuffed(data)) == length + 1 <= MOST_CODED
    assert 0 not in stuffed(data)


def test_more_than_fits_into_a_frame_is_an_error() -> None:
    with pytest.raises(ValueError, match="255 bytes in one frame; at most 254 fit"):
        stuffed(bytes(255))


@given(st.binary(max_size=300))
def test_what_cannot_be_stuffed_bytes_is_told_as_the_library_tells_it(coded: bytes) -> None:
    try:
        expected: bytes | None = cobs.decode(coded)
    except cobs.DecodeError:
        expected = None
    assert unstuffed(coded) == expected


@given(FRAMES)
def test_a_frame_comes_back_as_it_went(frame: Frame) -> None:
    wire = on_wire(frame)
    assert wire.index(0) == len(wire) - 1
    assert read_body(wire[:-1]) == frame


@given(FRAMES, st.data())
def test_a_frame_with_one_wrong_bit_is_none(frame: Frame, data: st.DataObject) -> None:
    wire = bytearray(on_wire(frame)[:-1])
    wire[data.draw(st.integers(0, len(wire) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    assert read_body(bytes(wire)) is None


@given(st.lists(FRAMES, max_size=5), st.integers(1, 40))
def test_frames_come_out_however_they_are_cut(frames: list[Frame], step: int) -> None:
    wire = b"".join(map(on_wire, frames))
    deframer = Deframer()
    pieces = [wire[at : at + step] for at in range(0, len(wire), step)]
    assert [frame for piece in pieces for frame in deframer.feed(piece)] == frames
    assert deframer.broken == 0


@given(st.binary(max_size=600), FRAMES)
def test_after_any_garbage_a_frame_comes_through(garbage: bytes, frame: Frame) -> None:
    deframer = Deframer()
    deframer.feed(garbage)
    assert deframer.feed(b"\0" + on_wire(frame))[-1:] == [frame]


def test_garbage_without_end_is_not_kept() -> None:
    deframer = Deframer()
    for _ in range(100):
        deframer.feed(b"x" * 1000)
    assert len(deframer._coded) <= MOST_CODED
    assert deframer.feed(b"\0") == []
    assert deframer.broken == 1


@settings(deadline=None)
@given(FRAMES)
def test_the_reference_frames_its_answers_the_same_way(frame: Frame) -> None:
    short = frame.payload[:200]
    assert Controller(0, 0).reply(frame.kind, short) == on_wire(Frame(frame.kind, 0, short))


@settings(deadline=None)
@given(st.binary(max_size=2000))
def test_no_bytes_upset_the_reference(garbage: bytes) -> None:
    controller = Controller(8, 8)
    for byte in garbage:
        controller.receive(byte)
    assert len(controller.frame) == 256


@settings(deadline=None)
@given(st.lists(st.tuples(st.sampled_from([1, 4, *range(0x10, 0x12), *range(0x20, 0x29)]), st.binary(max_size=250))))
def test_no_payload_upsets_the_reference(said: list[tuple[int, bytes]]) -> None:
    controller = Controller(8, 8)
    for number, (kind, payload) in enumerate([(1, b"\x01\x07\x03"), *said]):
        for byte in on_wire(Frame(kind, (number - 1) % 256, payload)):
            controller.receive(byte)
    assert len(controller.screen) == 2 * 8 * 8
    assert (len(controller.frame), len(controller.above), len(controller.colours)) == (256, 8, 128)
