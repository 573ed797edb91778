from __future__ import annotations

import math
from collections.abc import Mapping

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.broadcast.bits import LayoutError
from underdash.broadcast.counts import Counts
from underdash.broadcast.fields import compile_fields, length_of, wanted_with_references
from underdash.contract.layout import Bits, ByteOrder, Coding, Field, Select
from underdash.contract.signals import Kind, Quality, Signal, Value
from underdash.signals.store import Slot

RELAXED = settings(deadline=None)

NUMBER = Signal("a.number", "", "any number")
PRESSURE = Signal("a.pressure", "kPa", "a pressure")
TEMPERATURE = Signal("a.temperature", "degC", "a temperature")
SWITCH = Signal("a.switch", "", "a switch", Kind.SWITCH)
CHOICE = Signal("a.choice", "", "a choice", Kind.CHOICE, choices=("off", "on"))
TEXT = Signal("a.text", "", "a text", Kind.TEXT)
OTHER = Signal("a.other", "", "another number")


def slot(signal: Signal) -> Slot:
    return Slot(signal, "test", 0, None, False)


def slots(*signals: Signal) -> dict[str, Slot]:
    return {signal.name: slot(signal) for signal in signals}


def read(field: Field, data: bytes, signal: Signal, counts: Counts | None = None) -> tuple[Value | None, Quality]:
    one = slot(signal)
    compile_fields([field], {signal.name: one}, counts)(data, 1.0)
    return one.value, one.quality


@pytest.mark.parametrize("order", ByteOrder)
@pytest.mark.parametrize("length", [8, 16, 24, 12, 32])
@pytest.mark.parametrize("coding", [Coding.UNSIGNED, Coding.SIGNED])
def test_numbers_are_scaled_whatever_case_their_place_is(order: ByteOrder, length: int, coding: Coding) -> None:
    data = bytes([0x11, 0xC2, 0x93, 0xA4, 0x55])
    value, quality = read(Field("a.number", Bits(1, length, order=order), coding, 0.5, -40.0), data, NUMBER)
    whole = data[1 : 1 + math.ceil(length / 8)]
    raw = int.from_bytes(whole, order.value)
    raw = raw >> (len(whole) * 8 - length) if order is ByteOrder.BIG else raw % 2**length
    raw -= 2**length if coding is Coding.SIGNED and raw >= 2 ** (length - 1) else 0
    assert (value, quality) == (raw * 0.5 - 40.0, Quality.GOOD)
    assert isinstance(value, float)


@RELAXED
@given(st.data(), st.sampled_from(ByteOrder), st.binary(min_size=8, max_size=8))
def test_a_number_in_any_place_is_what_its_bits_say(data: st.DataObject, order: ByteOrder, payload: bytes) -> None:
    byte, bit = data.draw(st.integers(0, 7)), data.draw(st.integers(0, 7))
    room = 8 * (7 - byte) + (bit + 1 if order is ByteOrder.BIG else 8 - bit)
    length = data.draw(st.integers(1, min(room, 24)))
    value, _ = read(Field("a.number", Bits(byte, length, bit, order), scale=0.5, offset=-3.0), payload, NUMBER)
    if order is ByteOrder.BIG:
        skipped = 8 * byte + 7 - bit
        written = "".join(f"{one:08b}" for one in payload)[skipped : skipped + length]
    else:
        skipped = 8 * byte + bit
        written = "".join(f"{one:08b}"[::-1] for one in payload)[skipped : skipped + length][::-1]
    assert value == int(written, 2) * 0.5 - 3.0


def test_the_unit_conversion_is_folded_in() -> None:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    value, _ = read(Field("a.pressure", Bits(0, 16), scale=0.1, offset=-3.0, unit="psi"), b"\x01\x2c", PRESSURE)
    assert value == pytest.approx(registry.Quantity(27.0, "psi").to("kPa").magnitude, rel=1e-9)
    value, _ = read(Field("a.temperature", Bits(0), offset=-40.0, unit="degF"), b"\xfc", TEMPERATURE)
    assert value == pytest.approx(registry.Quantity(212.0, "degF").to("degC").magnitude, abs=1e-9)


def test_a_unit_of_another_quantity_is_refused() -> None:
    with pytest.raises(LayoutError, match=r"a\.pressure.*measures temperature"):
        compile_fields([Field("a.pressure", Bits(0), unit="degC")], slots(PRESSURE))
    with pytest.raises(LayoutError, match="not known"):
        compile_fields([Field("a.pressure", Bits(0), unit="furlong")], slots(PRESSURE))


def test_points_are_joined_by_lines_and_hold_beyond_their_ends() -> None:
    field = Field("a.temperature", Bits(0), points=((10, -20.0), (20, 0.0), (40, 10.0)))
    assert read(field, bytes([10]), TEMPERATURE) == (-20.0, Quality.GOOD)
    assert read(field, bytes([15]), TEMPERATURE) == (-10.0, Quality.GOOD)
    assert read(field, bytes([20]), TEMPERATURE) == (0.0, Quality.GOOD)
    assert read(field, bytes([40]), TEMPERATURE) == (10.0, Quality.GOOD)
    assert read(field, bytes([9]), TEMPERATURE) == (-20.0, Quality.BELOW)
    assert read(field, bytes([41]), TEMPERATURE) == (10.0, Quality.ABOVE)


def test_a_falling_table_is_above_its_first_point_where_the_raw_number_is_below_it() -> None:
    field = Field("a.temperature", Bits(0), points=((10, 120.0), (200, -30.0)))
    assert read(field, bytes([5]), TEMPERATURE) == (120.0, Quality.ABOVE)
    assert read(field, bytes([201]), TEMPERATURE) == (-30.0, Quality.BELOW)


def test_points_are_converted_too() -> None:
    field = Field("a.temperature", Bits(0), points=((0, 32.0), (100, 212.0)), unit="degF")
    assert read(field, bytes([50]), TEMPERATURE)[0] == pytest.approx(50.0)


@pytest.mark.parametrize("points", [((1, 2.0),), ((2, 0.0), (1, 1.0)), ((1, 0.0), (1, 1.0))])
def test_points_that_make_no_table_are_refused(points: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(LayoutError, match="points"):
        compile_fields([Field("a.number", Bits(0), points=points)], slots(NUMBER))


def test_a_value_table_gives_choices_switches_and_numbers_and_nothing_for_the_rest() -> None:
    choice = Field("a.choice", Bits(0, 2, 1), values=((0, "off"), (2, "on")))
    assert [read(choice, bytes([raw]), CHOICE)[0] for raw in range(4)] == ["off", None, "on", None]
    switch = Field("a.switch", Bits(0), values=((0x55, True), (0xAA, False)))
    assert [read(switch, bytes([raw]), SWITCH)[0] for raw in (0x55, 0xAA, 0)] == [True, False, None]
    gear = Field("a.number", Bits(0), values=((0, 0), (1, 1), (15, -1)))
    assert [read(gear, bytes([raw]), NUMBER)[0] for raw in (0, 1, 15, 7)] == [0.0, 1.0, -1.0, None]
    assert isinstance(read(gear, b"\1", NUMBER)[0], float)


def test_a_switch_without_a_table_is_on_when_its_bits_are_not_zero() -> None:
    assert read(Field("a.switch", Bits(0, 1, 3)), b"\x08", SWITCH)[0] is True
    assert read(Field("a.switch", Bits(0, 1, 3)), b"\xf7", SWITCH)[0] is False


@pytest.mark.parametrize(
    ("field", "signal"),
    [
        (Field("a.choice", Bits(0), values=((0, "open"),)), CHOICE),
        (Field("a.choice", Bits(0)), CHOICE),
        (Field("a.switch", Bits(0), values=((0, "off"),)), SWITCH),
        (Field("a.number", Bits(0), values=((0, "off"),)), NUMBER),
        (Field("a.number", Bits(0), values=((0, True),)), NUMBER),
        (Field("a.number", Bits(0), Coding.TEXT), NUMBER),
        (Field("a.text", Bits(0)), TEXT),
    ],
)
def test_values_of_another_kind_than_the_signal_are_refused(field: Field, signal: Signal) -> None:
    with pytest.raises(LayoutError):
        compile_fields([field], slots(signal))


def test_text_and_digits_reach_a_text_signal() -> None:
    assert read(Field("a.text", Bits(0, 32), Coding.TEXT), b"TARN", TEXT)[0] == "TARN"
    assert read(Field("a.text", Bits(0, 24), Coding.BCD), b"\x00\x12\x34", TEXT)[0] == "001234"
    counts = Counts()
    assert read(Field("a.text", Bits(0, 32), Coding.TEXT), b"\xff\xff\xff\xff", TEXT, counts)[0] is None
    assert counts.unavailable == 1


@pytest.mark.parametrize("coding", [Coding.UNSIGNED, Coding.SIGNED])
def test_a_number_that_means_not_available_leaves_the_slot_alone_and_is_counted(coding: Coding) -> None:
    counts = Counts()
    field = Field("a.number", Bits(0), coding, unavailable=((100, 101), (-2, -1), (254, 255)))
    one = slot(NUMBER)
    handle = compile_fields([field], {"a.number": one}, counts)
    for raw in (7, 100, 101, 0xFE, 0xFF):
        handle(bytes([raw]), float(raw))
    assert (one.value, one.at, one.count, counts.unavailable) == (7.0, 7.0, 1, 4)


@pytest.mark.parametrize(
    "field",
    [
        Field("a.number", Bits(0), unavailable=((255, 255),)),
        Field("a.number", Bits(0), unavailable=((255, 255),), saturates_at=250),
        Field("a.number", Bits(0), unavailable=((255, 255),), points=((0, 0.0), (10, 1.0))),
        Field("a.number", Bits(0), unavailable=((255, 255),), values=((255, 1.0),)),
        Field("a.number", Bits(0), unavailable=((255, 255),), full_scale_from="a.other"),
    ],
)
def test_not_available_comes_before_every_other_meaning(field: Field) -> None:
    counts = Counts()
    both = slots(NUMBER, OTHER)
    compile_fields([field], both, counts)(b"\xff", 1.0)
    assert (both["a.number"].value, counts.unavailable) == (None, 1)


def test_a_saturated_number_is_marked_as_at_least_this() -> None:
    field = Field("a.pressure", Bits(0), saturates_at=255)
    assert read(field, b"\xfe", PRESSURE) == (254.0, Quality.GOOD)
    assert read(field, b"\xff", PRESSURE) == (255.0, Quality.ABOVE)


def test_a_saturated_number_that_falls_is_marked_as_at_most_this() -> None:
    assert read(Field("a.number", Bits(0), scale=-1.0, saturates_at=255), b"\xff", NUMBER) == (-255.0, Quality.BELOW)


def test_a_field_is_only_there_while_its_presence_bit_is_set() -> None:
    # SAE J1979 PID 67: byte A bit 0 and 1 say which of two sensors is there, each a byte less 40
    first = Field("a.temperature", Bits(1), offset=-40.0, present_if=Bits(0, 1, 0))
    second = Field("a.number", Bits(2), offset=-40.0, present_if=Bits(0, 1, 1))
    both = slots(TEMPERATURE, NUMBER)
    compile_fields([first, second], both)(bytes.fromhex("015B00"), 1.0)
    assert (both["a.temperature"].value, both["a.number"].value) == (51.0, None)


def test_the_full_scale_of_another_signal_replaces_the_largest_value() -> None:
    # SAE J1979 PID 4F, byte D times 10 kPa, stands for the largest value of PID 0B where it is not 0 (rule from memory)
    maximum = Signal("a.maximum", "kPa", "largest pressure")
    field = Field("a.pressure", Bits(0), full_scale_from="a.maximum")
    both = slots(PRESSURE, maximum)
    handle = compile_fields([field], both)
    answer = compile_fields([Field("a.maximum", Bits(3), scale=10.0)], both)
    for data, expected in ((None, 100.0), (bytes(4), 100.0), (bytes([0, 0, 0, 51]), 200.0)):
        if data is not None:
            answer(data, 0.0)
        handle(bytes([100]), 1.0)
        assert both["a.pressure"].value == pytest.approx(expected)


def test_a_full_scale_in_another_unit_and_with_an_offset_is_converted() -> None:
    maximum = Signal("a.maximum", "bar", "largest pressure")
    both = slots(PRESSURE, maximum)
    both["a.maximum"].put(5.0, Quality.GOOD, 0.0)
    handle = compile_fields([Field("a.pressure", Bits(0), offset=-100.0, full_scale_from="a.maximum")], both)
    handle(b"\xff", 1.0)
    assert both["a.pressure"].value == pytest.approx(500.0)
    handle(b"\x00", 2.0)
    assert both["a.pressure"].value == pytest.approx(-100.0)
    with pytest.raises(LayoutError, match="full scale"):
        compile_fields([Field("a.pressure", Bits(0), full_scale_from="a.temperature")], slots(PRESSURE, TEMPERATURE))


def test_a_full_scale_signal_is_wanted_with_the_field_that_needs_it() -> None:
    fields = [Field("a.pressure", Bits(0), full_scale_from="a.maximum"), Field("a.other", Bits(1))]
    assert wanted_with_references(fields, {"a.pressure"}) == {"a.pressure", "a.maximum"}
    assert wanted_with_references(fields, {"a.other"}) == {"a.other"}


def test_nested_multiplexers_select_level_by_level() -> None:
    outer = Select(Bits(0), (1, 2))
    inner = Select(Bits(1, 4, 3), (7,), within=outer)
    fields = [
        Field("a.number", Bits(2), select=inner),
        Field("a.other", Bits(3), select=outer),
        Field("a.switch", Bits(4)),
    ]

    def seen(data: str) -> tuple[Value | None, ...]:
        found = slots(NUMBER, OTHER, SWITCH)
        compile_fields(fields, found)(bytes.fromhex(data), 1.0)
        return tuple(one.value for one in found.values())

    assert seen("01 07 0A 0B 01") == (10.0, 11.0, True)
    assert seen("02 F7 0A 0B 00") == (10.0, 11.0, False)
    assert seen("02 06 0A 0B 01") == (None, 11.0, True)
    assert seen("03 07 0A 0B 01") == (None, None, True)


def test_one_signal_may_come_from_two_branches_of_a_multiplexer() -> None:
    fields = [
        Field("a.number", Bits(1), select=Select(Bits(0), (0,))),
        Field("a.number", Bits(1), scale=10.0, select=Select(Bits(0), (1,))),
    ]
    one = slots(NUMBER)
    handle = compile_fields(fields, one)
    handle(b"\0\5", 1.0)
    assert one["a.number"].value == 5.0
    handle(b"\1\5", 2.0)
    assert one["a.number"].value == 50.0


def test_a_short_payload_is_counted_and_a_long_one_is_accepted() -> None:
    counts = Counts()
    one = slots(NUMBER)
    handle = compile_fields([Field("a.number", Bits(1, 16))], one, counts)
    handle(b"\1\2", 1.0)
    assert (one["a.number"].value, counts.short) == (None, 1)
    handle(b"\1\2\3\4\5\6\7\x08\x09", 2.0)
    assert (one["a.number"].value, counts.short) == (515.0, 1)


def test_with_a_smaller_shortest_length_each_field_is_read_where_there_is_room_for_it() -> None:
    counts = Counts()
    fields = [
        Field("a.number", Bits(0)),
        Field("a.other", Bits(1, 16)),
        Field("a.switch", Bits(0), select=Select(Bits(3), (9,))),
    ]
    found = slots(NUMBER, OTHER, SWITCH)
    handle = compile_fields(fields, found, counts, shortest=1)
    handle(b"", 0.0)
    handle(b"\7", 1.0)
    assert [one.value for one in found.values()] == [7.0, None, None]
    handle(b"\x07\x01\x00\x09", 2.0)
    assert [one.value for one in found.values()] == [7.0, 256.0, True]
    assert counts.short == 1


def test_fields_that_nobody_wants_are_not_compiled() -> None:
    broken = Field("a.unwanted", Bits(0, 99))
    one = slots(NUMBER)
    compile_fields([Field("a.number", Bits(0)), broken], one, shortest=1)(b"\5", 1.0)
    assert one["a.number"].value == 5.0
    compile_fields([], {})(b"", 1.0)


def test_the_length_of_fields_includes_their_conditions() -> None:
    assert length_of([Field("a.number", Bits(0), present_if=Bits(3, 1, 0))]) == 4
    assert length_of([Field("a.number", Bits(0), select=Select(Bits(2), (1,), Select(Bits(5), (1,))))]) == 6
    assert length_of([]) == 0


@RELAXED
@given(st.binary(min_size=0, max_size=12))
def test_no_payload_makes_a_decoder_raise(data: bytes) -> None:
    fields: Mapping[Signal, Field] = {
        NUMBER: Field("a.number", Bits(0, 32), Coding.FLOAT),
        OTHER: Field("a.other", Bits(3, 12, 5), Coding.BCD, unavailable=((7, 9),)),
        TEXT: Field("a.text", Bits(2, 32), Coding.TEXT),
        CHOICE: Field("a.choice", Bits(6), values=((1, "on"),), select=Select(Bits(1), (0, 1))),
        PRESSURE: Field("a.pressure", Bits(1, 16), points=((0, 0.0), (9, 1.0)), present_if=Bits(0, 1, 0)),
    }
    compile_fields(list(fields.values()), slots(*fields), shortest=0)(data, 1.0)
