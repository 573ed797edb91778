from __future__ import annotations

from typing import Any

import cantools
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.broadcast.bits import signed as read_signed
from underdash.broadcast.bits import unsigned as read_unsigned
from underdash.bus.frames import Frame
from underdash.contract.layout import Bits, ByteOrder
from underdash.finding.heard import Stream
from underdash.finding.reading import heard_from


def stream(*payloads: bytes) -> Stream:
    (one,) = heard_from([("drive", Frame(0x1A4, data, at=0.1 * n)) for n, data in enumerate(payloads)]).streams
    return one


@given(
    st.lists(st.binary(min_size=8, max_size=8), min_size=1, max_size=5),
    st.sampled_from(ByteOrder),
    st.integers(0, 63),
    st.integers(1, 63),
)
def test_a_column_of_numbers_is_what_the_decoder_reads_frame_by_frame(
    payloads: list[bytes], order: ByteOrder, start: int, length: int
) -> None:
    bits = Bits(start // 8, length, start % 8, order)
    before = start % 8 if order is ByteOrder.LITTLE else 7 - start % 8
    one = stream(*payloads)
    if start // 8 + (before + length - 1) // 8 > 7:
        with pytest.raises(ValueError, match="does not fit"):
            one.raw(bits)
        return
    assert one.raw(bits).tolist() == [read_unsigned(bits)(data) for data in payloads]
    assert one.raw(bits, signed=True).tolist() == [read_signed(bits)(data) for data in payloads]


def test_a_short_frame_reads_as_if_it_went_on_with_zeros() -> None:
    one = stream(b"\x12\x34", b"\x56")
    assert one.raw(Bits(0, 16)).tolist() == [0x1234, 0x5600]
    assert one.length.tolist() == [2, 1]


def test_bits_are_numbered_from_the_least_significant_of_byte_0() -> None:
    one = stream(b"\x01\x80", b"\x01\x00", b"\x01\x00")
    assert np.flatnonzero(one.bits[0]).tolist() == [0, 15]
    assert np.flatnonzero(one.active).tolist() == [15]
    assert one.changed.tolist() == [1]
    assert one.period_s == pytest.approx(0.1)


def test_streams_are_told_apart_by_bus_id_and_length_of_id() -> None:
    heard = heard_from(
        [
            ("can0", Frame(0x10, b"\x01", at=1.0)),
            ("can1", Frame(0x10, b"\x02", at=2.0)),
            ("can0", Frame(0x10, b"\x03", extended=True, at=3.0)),
            ("can0", Frame(0x0, b"", at=4.0, error=True)),
        ],
        {"can0": "drive"},
    )
    assert [str(one) for one in heard] == ["can1 010", "drive 010", "drive 00000010"]
    assert (heard.begin, heard.end, heard.frames) == (1.0, 4.0, 3)
    assert heard.remarks == ("frames left out, since only data frames of classic CAN are searched: 1 error",)
    assert heard.stream("drive", 0x10, True) is heard.streams[2]
    assert heard.stream("drive", 0x11) is None


def test_nothing_heard_is_no_error() -> None:
    heard = heard_from([])
    assert (heard.streams, heard.begin, heard.end, heard.frames) == ((), 0.0, 0.0, 0)


def test_start_bits_are_those_of_a_dbc_file() -> None:
    """Source: cantools' reading of the DBC format."""
    text = (
        'VERSION ""\nBU_: X\nBO_ 420 M: 8 X\n SG_ A : 12|11@1+ (1,0) [0|0] "" X\n SG_ B : 37|13@0+ (1,0) [0|0] "" X\n'
    )
    payload = bytes.fromhex("A55AC3711E0FF0D2")
    database: Any = cantools.database.load_string(text, "dbc")
    decoded = database.decode_message(420, payload)
    one = stream(payload)
    assert one.raw(Bits(1, 11, 4, ByteOrder.LITTLE)).tolist() == [decoded["A"]]
    assert one.raw(Bits(4, 13, 5, ByteOrder.BIG)).tolist() == [decoded["B"]]
