from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from underdash.broadcast.decoder import compile_listener
from underdash.broadcast.encoder import EncodeError, encode, encode_fields
from underdash.broadcast.fields import compile_fields
from underdash.contract.layout import Bits, BroadcastListener, ByteOrder, Checksum, Coding, Counter, Field, Select
from underdash.contract.signals import Kind, Quality, Signal, Value
from underdash.signals.store import Slot

RELAXED = settings(deadline=None)


def decoded(fields: list[Field], data: bytes, *signals: Signal) -> dict[str, Value | None]:
    slots = {one.name: Slot(one, "test", 0, None, False) for one in signals}
    compile_fields(fields, slots)(data, 1.0)
    return {name: slot.value for name, slot in slots.items()}


NUMBER = Signal("a.number", "", "a number")
OTHER = Signal("a.other", "", "another number")
CODINGS = st.sampled_from([Coding.UNSIGNED, Coding.SIGNED])


@st.composite
def bits(draw: st.DrawFn) -> Bits:
    order = draw(st.sampled_from(ByteOrder))
    byte, bit = draw(st.integers(0, 7)), draw(st.integers(0, 7))
    room = 8 * (7 - byte) + (bit + 1 if order is ByteOrder.BIG else 8 - bit)
    return Bits(byte, draw(st.integers(1, min(room, 48))), bit, order)


@RELAXED
@given(bits(), CODINGS, st.sampled_from([1.0, 0.5, 0.01, -0.25, 3.0]), st.sampled_from([0.0, -40.0, 0.1]), st.data())
def test_every_raw_number_comes_back_from_its_value(
    place: Bits, coding: Coding, scale: float, offset: float, data: st.DataObject
) -> None:
    half = 2 ** (place.length - 1)
    low, high = (-half, half - 1) if coding is Coding.SIGNED else (0, 2 * half - 1)
    raw = data.draw(st.integers(low, high))
    field = Field("a.number", place, coding, scale, offset)
    value = raw * scale + offset
    assert decoded([field], encode_fields([field], {"a.number": value}, 8), NUMBER) == {"a.number": value}


@RELAXED
@given(bits(), bits(), st.data())
def test_a_field_leaves_the_bits_of_its_neighbours_alone(one: Bits, other: Bits, data: st.DataObject) -> None:
    def covered(place: Bits) -> int:
        mask = encode_fields([Field("a.number", place)], {"a.number": 2.0**place.length - 1}, 8)
        return int.from_bytes(mask, "big")

    assume(not covered(one) & covered(other))
    values = {
        "a.number": float(data.draw(st.integers(0, 2**one.length - 1))),
        "a.other": float(data.draw(st.integers(0, 2**other.length - 1))),
    }
    fields = [Field("a.number", one), Field("a.other", other)]
    assert decoded(fields, encode_fields(fields, values, 8), NUMBER, OTHER) == values


@RELAXED
@given(st.floats(width=32, allow_nan=False, allow_infinity=False), st.sampled_from(ByteOrder))
def test_floats_come_back(value: float, order: ByteOrder) -> None:
    field = Field("a.number", Bits(1, 32, order=order), Coding.FLOAT)
    assert decoded([field], encode_fields([field], {"a.number": value}, 8), NUMBER) == {"a.number": value}


@RELAXED
@given(st.integers(0, 9999))
def test_binary_coded_decimal_comes_back(value: int) -> None:
    field = Field("a.number", Bits(1, 16), Coding.BCD)
    assert decoded([field], encode_fields([field], {"a.number": value}, 8), NUMBER) == {"a.number": float(value)}


def test_text_choices_and_switches_come_back() -> None:
    fields = [
        Field("a.text", Bits(0, 32), Coding.TEXT),
        Field("a.choice", Bits(4, 4, 3), values=((3, "on"), (4, "off"))),
        Field("a.switch", Bits(5, 1, 6)),
        Field("a.digits", Bits(6, 16), Coding.BCD),
    ]
    signals = [
        Signal("a.text", "", "", Kind.TEXT),
        Signal("a.choice", "", "", Kind.CHOICE),
        Signal("a.switch", "", "", Kind.SWITCH),
        Signal("a.digits", "", "", Kind.TEXT),
    ]
    values: dict[str, Value] = {"a.text": "ABC", "a.choice": "off", "a.switch": True, "a.digits": "0042"}
    data = encode_fields(fields, values, 8)
    assert data == bytes.fromhex("41424300 04 40 0042")
    assert decoded(fields, data, *signals) == values


@pytest.mark.parametrize("points", [((0, -40.0), (100, 0.0), (255, 31.0)), ((0, 120.0), (100, 20.0), (255, -42.0))])
def test_points_are_read_backwards(points: tuple[tuple[float, float], ...]) -> None:
    field = Field("a.number", Bits(0), points=points)
    for raw in range(256):
        value = decoded([field], bytes([raw]), NUMBER)["a.number"]
        assert value is not None
        assert encode_fields([field], {"a.number": value}, 1) == bytes([raw])
    assert encode_fields([field], {"a.number": 1e6}, 1) in (b"\0", b"\xff")


def test_points_that_turn_back_are_refused() -> None:
    field = Field("a.number", Bits(0), points=((0, 0.0), (1, 5.0), (2, 1.0)))
    with pytest.raises(EncodeError, match="rise and fall"):
        encode_fields([field], {"a.number": 3.0}, 1)


def test_a_number_beyond_the_field_saturates_and_never_becomes_not_available() -> None:
    plain = Field("a.number", Bits(0))
    assert encode_fields([plain], {"a.number": 300.0}, 1) == b"\xff"
    assert encode_fields([plain], {"a.number": -5.0}, 1) == b"\x00"
    marked = Field("a.number", Bits(0), unavailable=((254, 255), (0, 1)))
    assert encode_fields([marked], {"a.number": 300.0}, 1) == b"\xfd"
    assert encode_fields([marked], {"a.number": -5.0}, 1) == b"\x02"
    assert encode_fields([Field("a.number", Bits(0), Coding.SIGNED)], {"a.number": -500.0}, 1) == b"\x80"


def test_a_field_without_a_value_says_not_available_where_it_can() -> None:
    fields = [Field("a.number", Bits(0), unavailable=((255, 255),)), Field("a.other", Bits(1))]
    assert encode_fields(fields, {}, 2) == b"\xff\x00"


def test_values_in_the_stored_unit_are_converted_back() -> None:
    field = Field("a.pressure", Bits(0, 16), scale=0.1, unit="psi")
    data = encode_fields([field], {"a.pressure": 206.842719}, 2, units={"a.pressure": "kPa"})
    assert data == b"\x01\x2c"
    assert encode_fields([field], {"a.pressure": 30.0}, 2) == b"\x01\x2c"


def test_a_multiplexer_is_set_for_the_fields_that_have_values() -> None:
    first = Field("a.number", Bits(1), select=Select(Bits(0), (1,)))
    second = Field("a.other", Bits(1), select=Select(Bits(2, 4, 3), (9,), within=Select(Bits(0), (2,))))
    assert encode_fields([first, second], {"a.number": 5.0}, 3) == b"\x01\x05\x00"
    assert encode_fields([first, second], {"a.other": 6.0}, 3) == b"\x02\x06\x09"
    # of two that exclude each other the first wins
    assert encode_fields([first, second], {"a.number": 5.0, "a.other": 6.0}, 3) == b"\x01\x05\x00"


def test_a_presence_bit_is_set_with_its_field() -> None:
    fields = [
        Field("a.number", Bits(1), offset=-40.0, present_if=Bits(0, 1, 0)),
        Field("a.other", Bits(2), present_if=Bits(0, 1, 1)),
    ]
    assert encode_fields(fields, {"a.number": 51.0}, 3) == bytes.fromhex("015B00")


def test_the_full_scale_is_used_backwards() -> None:
    field = Field("a.number", Bits(0), full_scale_from="a.maximum")
    assert encode_fields([field], {"a.number": 200.0, "a.maximum": 510.0}, 1) == bytes([100])
    assert encode_fields([field], {"a.number": 200.0, "a.maximum": 0.0}, 1) == bytes([200])


def test_a_frame_gets_its_counter_and_checksum_and_is_accepted() -> None:
    listener = BroadcastListener(
        "drive",
        1,
        (Field("a.number", Bits(0, 16), scale=0.01),),
        counter=Counter(Bits(6, 4, 3)),
        checksum=Checksum("crc8", 7),
    )
    slot = Slot(NUMBER, "test", 0, None, False)
    made = compile_listener(listener, {"a.number": slot})
    for count in range(40):
        made.handle(encode(listener, {"a.number": count / 4}, count), float(count))
        assert (slot.value, slot.quality) == (count / 4, Quality.GOOD)
    assert (made.counts.dropped, made.counts.jumped) == (0, 0)
    assert len(encode(listener, {}, 3)) == 8


@pytest.mark.parametrize(
    ("field", "value"),
    [
        (Field("a.x", Bits(0), values=((1, "on"),)), "off"),
        (Field("a.x", Bits(0), values=((1, True),)), 1.0),
        (Field("a.x", Bits(0)), "text"),
        (Field("a.x", Bits(0, 16), Coding.TEXT), "text"),
        (Field("a.x", Bits(0, 16), Coding.BCD), "12345"),
        (Field("a.x", Bits(1, 16)), 1.0),
    ],
)
def test_what_a_field_cannot_spell_is_refused(field: Field, value: Value) -> None:
    with pytest.raises(EncodeError):
        encode_fields([field], {"a.x": value}, 2)


def test_a_frame_too_short_for_its_checksum_is_refused() -> None:
    listener = BroadcastListener("drive", 1, (), checksum=Checksum("sum8", 7))
    with pytest.raises(EncodeError, match="no room for the checksum in 4 bytes"):
        encode(listener, {}, 0, size=4)
