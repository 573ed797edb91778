from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.contract.errors import UnderdashError
from underdash.diagnostics.isotp import Dropped, room, unwrap, wrap

addresses = st.none() | st.integers(0, 255)


def dropped(text: str, address: int | None = None) -> Dropped:
    found = unwrap(bytes.fromhex(text), address)
    assert isinstance(found, Dropped)
    return found


@settings(deadline=None)
@given(st.binary(min_size=1, max_size=6), addresses, st.binary(max_size=2))
def test_what_is_wrapped_unwraps_to_itself_however_padded(payload: bytes, address: int | None, padding: bytes) -> None:
    frame = (wrap(payload, address) + padding)[:8]
    assert unwrap(frame, address) == payload


@settings(deadline=None)
@given(st.binary(max_size=8), addresses)
def test_no_frame_breaks_it_and_no_payload_is_longer_than_the_frame(data: bytes, address: int | None) -> None:
    found = unwrap(data, address)
    if isinstance(found, bytes):
        assert 1 <= len(found) <= room(address)


@pytest.mark.parametrize("payload", [b"", bytes(8)])
def test_a_message_that_fits_no_frame_is_refused_with_the_room_there_is(payload: bytes) -> None:
    with pytest.raises(UnderdashError, match="1 to 7"):
        wrap(payload)


def test_an_address_takes_a_byte_of_the_frame() -> None:
    assert wrap(bytes.fromhex("22F190"), 0x5C) == bytes.fromhex("5C0322F190")
    assert unwrap(bytes.fromhex("5C0462F19041"), 0x5C) == bytes.fromhex("62F19041")
    with pytest.raises(UnderdashError, match="1 to 6"):
        wrap(bytes(7), 0x5C)


def test_a_frame_of_another_address_is_not_ours() -> None:
    assert unwrap(bytes.fromhex("670462F19041"), 0x5C) is None


def test_padding_of_zeros_or_of_anything_else_is_never_part_of_the_value() -> None:
    assert unwrap(bytes.fromhex("03410D0000000000")) == bytes.fromhex("410D00")
    assert unwrap(bytes.fromhex("03410D00CCCCCCCC")) == bytes.fromhex("410D00")


def test_a_first_frame_is_named_with_its_length_and_whose_it_is() -> None:
    # 62 F1 90 and 17 characters, as an independent stack (can-isotp) sends it
    found = dropped("101462F190414243")
    assert found.reason == "several frames"
    assert "20 bytes" in found.why
    assert found.start == bytes.fromhex("62F190414243")


def test_a_first_frame_with_the_long_length_is_read_too() -> None:
    assert "4096 bytes" in dropped("1000000010006262").why


def test_later_frames_and_flow_control_are_named() -> None:
    assert dropped("2144454647484950").reason == "consecutive"
    assert dropped("300000").reason == "flow control"


@pytest.mark.parametrize("text", ["00", "0000000000000000", "05410C", "08410C1AF8000000", "0F410C", "1014"])
def test_a_frame_whose_length_is_not_what_it_holds_is_named(text: str) -> None:
    assert dropped(text).reason == "length"


@pytest.mark.parametrize("text", ["", "955CA61A04010000", "FF"])
def test_what_is_not_iso_tp_is_left_to_others(text: str) -> None:
    assert unwrap(bytes.fromhex(text)) is None
