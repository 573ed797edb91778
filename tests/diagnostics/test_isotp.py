from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.contract.errors import UnderdashError
from underdash.diagnostics.isotp import padded, room, wrap
from underdash.diagnostics.reassembly import Reassembly

addresses = st.none() | st.integers(0, 255)


@settings(deadline=None)
@given(st.binary(min_size=1, max_size=6), addresses, st.integers(0, 255))
def test_what_is_wrapped_arrives_as_it_is_however_padded(payload: bytes, address: int | None, padding: int) -> None:
    frame = padded(wrap(payload, address), padding)
    assert len(frame) == 8
    assert Reassembly(address).receive(frame, 0.0).payload == payload


@pytest.mark.parametrize("payload", [b"", bytes(8)])
def test_a_message_that_fits_no_frame_is_refused_with_the_room_there_is(payload: bytes) -> None:
    with pytest.raises(UnderdashError, match="1 to 7"):
        wrap(payload)


def test_an_address_takes_a_byte_of_the_frame() -> None:
    assert (room(), room(0x5C), room(0x00)) == (7, 6, 6)
    assert wrap(bytes.fromhex("22F190"), 0x5C) == bytes.fromhex("5C0322F190")
    with pytest.raises(UnderdashError, match="1 to 6"):
        wrap(bytes(7), 0x5C)
