"""Extraction against a reading of the payload as a string of characters 0 and 1, which shares nothing with it."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.broadcast.bits import LayoutError, bytes_needed, digits, number, place_of, signed, text, unsigned
from underdash.contract.layout import Bits, ByteOrder, Coding

RELAXED = settings(deadline=None)


def spelt_out(data: bytes, bits: Bits) -> str:
    """The bits of a field from most to least significant, picked one by one by the contract's words."""
    bit = bits.bit if bits.bit is not None else (7 if bits.order is ByteOrder.BIG else 0)
    picked = []
    byte = bits.byte
    for _ in range(bits.length):
        picked.append(f"{data[byte]:08b}"[7 - bit])
        if bits.order is ByteOrder.BIG:
            byte, bit = (byte, bit - 1) if bit else (byte + 1, 7)
        else:
            byte, bit = (byte, bit + 1) if bit < 7 else (byte + 1, 0)
    return "".join(picked if bits.order is ByteOrder.BIG else reversed(picked))


@st.composite
def places(draw: st.DrawFn) -> Bits:
    order = draw(st.sampled_from(ByteOrder))
    byte = draw(st.integers(0, 7))
    bit = draw(st.none() | st.integers(0, 7))
    first = bit if bit is not None else (7 if order is ByteOrder.BIG else 0)
    room = 8 * (7 - byte) + (first + 1 if order is ByteOrder.BIG else 8 - first)
    return Bits(byte, draw(st.integers(1, room)), bit, order)


payloads = st.binary(min_size=8, max_size=8)


@RELAXED
@given(places(), payloads)
def test_unsigned_numbers_equal_their_bits_written_out(bits: Bits, data: bytes) -> None:
    assert unsigned(bits)(data) == int(spelt_out(data, bits), 2)


@RELAXED
@given(places(), payloads)
def test_signed_numbers_are_twos_complement(bits: Bits, data: bytes) -> None:
    written = spelt_out(data, bits)
    weights = [2**power for power in range(bits.length - 1, -1, -1)]
    weights[0] = -weights[0]
    assert signed(bits)(data) == sum(w for w, one in zip(weights, written, strict=True) if one == "1")


@RELAXED
@given(places(), payloads)
def test_a_field_needs_the_bytes_up_to_its_last_bit_and_no_more(bits: Bits, data: bytes) -> None:
    needed = bytes_needed(bits)
    spelt_out(data[:needed], bits)
    with pytest.raises(IndexError):
        spelt_out(data[: needed - 1], bits)


@RELAXED
@given(st.floats(width=32, allow_nan=False, allow_infinity=False))
def test_floats_of_32_bits_are_read_in_both_orders(value: float) -> None:
    big, little = struct.pack(">f", value), struct.pack("<f", value)
    assert number(Bits(0, 32), Coding.FLOAT)(big) == value
    assert number(Bits(0, 32, order=ByteOrder.LITTLE), Coding.FLOAT)(little) == value


@RELAXED
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_floats_of_64_bits_are_read_in_both_orders(value: float) -> None:
    assert number(Bits(0, 64), Coding.FLOAT)(struct.pack(">d", value)) == value
    assert number(Bits(0, 64, order=ByteOrder.LITTLE), Coding.FLOAT)(struct.pack("<d", value)) == value


def test_floats_that_are_no_number_spell_nothing() -> None:
    read = number(Bits(0, 32), Coding.FLOAT)
    assert read(struct.pack(">f", float("nan"))) is None
    assert read(struct.pack(">f", float("inf"))) is None


@RELAXED
@given(st.integers(0, 999_999))
def test_binary_coded_decimal_is_read_digit_by_digit(value: int) -> None:
    data = bytes.fromhex(f"{value:06d}")
    assert number(Bits(0, 24), Coding.BCD)(data) == value
    assert number(Bits(0, 24, order=ByteOrder.LITTLE), Coding.BCD)(data[::-1]) == value
    assert digits(Bits(0, 24))(data) == f"{value:06d}"


def test_digits_above_nine_spell_nothing() -> None:
    assert number(Bits(0, 16), Coding.BCD)(b"\x12\x3a") is None


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"xTARN16T\0\0", "TARN16T"),
        (b"x\xff\xffABC  \xff\xff", "ABC"),
        (b"x\0\0\0\0\0\0\0\0\0", ""),
        (b"xAB\x80\0", "AB�"),
        (b"xA\nB\x1b\0C", "A�B��C"),
    ],
)
def test_text_is_read_without_its_padding(data: bytes, expected: str) -> None:
    assert text(Bits(1, 8 * 9))(data) == expected


@pytest.mark.parametrize("bits", [Bits(-1), Bits(0, 0), Bits(0, 8, 8), Bits(0, 8, -1), Bits(0, 65)], ids=repr)
def test_a_place_no_number_can_have_is_refused(bits: Bits) -> None:
    with pytest.raises(LayoutError):
        unsigned(bits)


def test_lengths_that_a_coding_does_not_have_are_refused() -> None:
    for bits, coding in ((Bits(0, 24), Coding.FLOAT), (Bits(0, 10), Coding.BCD), (Bits(0, 8), Coding.TEXT)):
        with pytest.raises(LayoutError):
            number(bits, coding)
    with pytest.raises(LayoutError):
        text(Bits(0, 8, 3))


def test_a_dbc_big_endian_start_bit_is_the_most_significant_one() -> None:
    # 16 bits from DBC start bit 47, big-endian: bytes 5 and 6
    at = place_of(Bits(47 // 8, 16, 47 % 8))
    assert (at.first, at.last, at.shift) == (5, 6, 0)
