from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.broadcast.bits import number
from underdash.config.car_layout import Context, bits_of, field_of, last_byte
from underdash.config.car_tables import BitsTable, Order
from underdash.config.mistakes import Mistakes, Source
from underdash.config.structure import Structure
from underdash.contract.layout import Bits, ByteOrder, Coding, Field, Select
from underdash.signals.catalogue import CATALOGUE


def context(counts_from: int = 0) -> Context:
    return Context(Structure(Mistakes(Source())), counts_from, CATALOGUE)


def field(counts_from: int = 0, frame_bytes: int = 8, **keys: Any) -> Field:
    around = context(counts_from)
    made = field_of({"signal": "engine.speed", **keys}, (), around, frame_bytes)
    assert made is not None, around.mistakes.found
    return made


def mistake(frame_bytes: int = 8, counts_from: int = 0, **keys: Any) -> str:
    around = context(counts_from)
    assert field_of({"signal": "engine.speed", **keys}, (), around, frame_bytes) is None
    return "\n".join(str(found) for found in around.mistakes.found)


LITTLE, BIG = ByteOrder.LITTLE, ByteOrder.BIG


@pytest.mark.parametrize(
    ("keys", "bits"),
    [
        ({"byte": 3}, Bits(3)),
        ({"byte": 3, "bit": 6}, Bits(3, 1, 6, LITTLE)),
        ({"byte": 3, "bit": 2, "length": 4}, Bits(3, 4, 2, LITTLE)),
        ({"byte": 3, "bits": [2, 5]}, Bits(3, 4, 2, LITTLE)),
        ({"byte": 3, "bits": [2, 5], "order": "big"}, Bits(3, 4, 5, BIG)),
        ({"byte": 3, "bit": 5, "length": 4, "order": "big"}, Bits(3, 4, 5, BIG)),
        ({"byte": 0, "length": 16, "order": "big"}, Bits(0, 16, None, BIG)),
        ({"byte": 0, "length": 16, "order": "little"}, Bits(0, 16, None, LITTLE)),
        ({"byte": 0, "bit": 4, "length": 12, "order": "little"}, Bits(0, 12, 4, LITTLE)),
        ({"start": 12, "length": 12, "order": "little"}, Bits(1, 12, 4, LITTLE)),
        ({"start": 15, "length": 16, "order": "big"}, Bits(1, 16, 7, BIG)),
    ],
)
def test_bits_can_be_named_in_several_ways(keys: dict[str, Any], bits: Bits) -> None:
    assert field(**keys).bits == bits


def test_a_file_that_counts_from_one_means_the_byte_before() -> None:
    assert field(1, byte=1).bits.byte == 0
    assert field(1, byte=8).bits.byte == 7
    assert field(1, start=8, length=1, order="little").bits.byte == 1  # DBC start bits always count from 0


@given(st.integers(0, 7), st.integers(0, 7), st.integers(1, 64), st.booleans(), st.binary(min_size=8, max_size=8))
def test_dbc_start_bits_and_bytes_with_bits_read_the_same(
    byte: int, bit: int, length: int, big: bool, data: bytes
) -> None:
    around = context()
    end: Order = "big" if big else "little"
    by_byte = bits_of(BitsTable(byte=byte, bit=bit, length=length, order=end), (), around, frame_bytes=8)
    by_start = bits_of(BitsTable(start=byte * 8 + bit, length=length, order=end), (), around, frame_bytes=8)

    assert by_byte == by_start
    if by_byte is not None:
        number(by_byte, Coding.UNSIGNED)(data)  # the decoder takes it and stays inside eight bytes
        assert last_byte(by_byte) < 8


@given(st.integers(0, 7), st.integers(0, 7), st.integers(0, 7), st.binary(min_size=8, max_size=8))
def test_inside_one_byte_both_orders_read_the_same(byte: int, one: int, other: int, data: bytes) -> None:
    low, high = sorted((one, other))
    plain = field(byte=byte, bits=[low, high]).bits
    made = [plain, *(field(byte=byte, bits=[low, high], order=order).bits for order in ("big", "little"))]

    wanted = data[byte] >> low & (1 << high - low + 1) - 1
    assert {number(bits, Coding.UNSIGNED)(data) for bits in made} == {wanted}


def test_everything_about_a_field_is_read() -> None:
    made = field(
        byte=1,
        length=16,
        order="big",
        coding="signed",
        scale=0.5,
        offset=-10,
        unit="rpm",
        unavailable=[-1, [100, 110]],
        saturates_at=200,
        present_if={"byte": 0, "bit": 3},
        full_scale_from="engine.load",
        select={"byte": 0, "bits": [0, 2], "values": [1, 2], "within": {"byte": 7, "values": [3]}},
    )

    assert made == Field(
        "engine.speed",
        Bits(1, 16),
        Coding.SIGNED,
        0.5,
        -10.0,
        unit="rpm",
        unavailable=((-1, -1), (100, 110)),
        saturates_at=200,
        present_if=Bits(0, 1, 3, LITTLE),
        full_scale_from="engine.load",
        select=Select(Bits(0, 3, 0, LITTLE), (1, 2), Select(Bits(7), (3,))),
    )


def test_tables_of_values_and_points_are_read() -> None:
    assert field(signal="vehicle.ignition", byte=0, values={"0x10": "ON", "1": "OFF"}).values == (
        (1, "OFF"),
        (16, "ON"),
    )
    assert field(signal="dashboard.night", byte=0, values={"1": True}).values == ((1, True),)
    assert field(byte=0, values={"1": 850}).values == ((1, 850.0),)
    assert field(byte=0, points=[[0, 120], [255, -40]]).points == ((0.0, 120.0), (255.0, -40.0))


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({}, "byte: found nothing, allowed: the byte the field is in, or a DBC `start` bit"),
        ({"byte": -1}, "byte: found -1, allowed: at least 0"),
        ({"byte": 0, "bit": 8}, "bit: found 8, allowed: at least 0 and at most 7"),
        ({"byte": 8}, "found engine.speed up to byte 8, allowed: bytes up to 7"),
        ({"byte": 7, "length": 16, "order": "big"}, "found engine.speed up to byte 8, allowed: bytes up to 7"),
        (
            {"byte": 0, "length": 16},
            'order: found nothing, allowed: "big" or "little", since the field has more than one',
        ),
        (
            {"byte": 0, "bit": 4, "length": 8},
            'order: found nothing, allowed: "big" or "little", since the field has more',
        ),
        ({"byte": 0, "length": 65, "order": "big"}, "length: found 65, allowed: at most 64 bits for a number"),
        ({"byte": 0, "length": 0}, "length: found 0, allowed: at least 1"),
        ({"byte": 0, "length": 16, "order": "motorola"}, 'order: found \'motorola\', allowed: one of "big", "little"'),
        ({"byte": 0, "bits": [3, 1]}, "bits: found [3, 1], allowed: [lowest, highest]"),
        ({"byte": 0, "bits": [0, 1], "length": 2}, "bits: found [0, 1], allowed: [lowest, highest], without"),
        ({"start": 8}, "length: found nothing, allowed: number of bits"),
        (
            {"start": 8, "length": 4},
            'order: found nothing, allowed: "big" or "little", since DBC counts from either end',
        ),
        ({"start": 8, "byte": 1, "length": 4}, "byte: found 1, allowed: nothing, since `start` says"),
        ({"byte": 0, "length": 16, "order": "big", "coding": "float"}, "length: found 16, allowed: 32 or 64 bits"),
        ({"byte": 0, "length": 6, "coding": "bcd"}, "length: found 6, allowed: a multiple of 4 bits for bcd"),
        ({"byte": 0, "length": 6, "coding": "text"}, "length: found 6, allowed: whole bytes for a text"),
        ({"byte": 0, "coding": "int"}, "coding: found 'int', allowed: one of"),
        ({"byte": 0, "scale": 0}, "scale: found 0, allowed: a number other than 0"),
        ({"byte": 0, "scale": 2, "points": [[0, 1], [1, 2]]}, "found more than one way to read the number"),
        ({"byte": 0, "points": [[0, 1]]}, "points: found a list of 1, allowed: at least two"),
        ({"byte": 0, "points": [[5, 1], [5, 2]]}, "points: found a list of 2, allowed: at least two"),
        ({"byte": 0, "values": {}}, "values: found an empty table"),
        ({"byte": 0, "values": {"one": 1}}, "values.one: found 'one', allowed: a raw number on the left"),
        ({"byte": 0, "values": {"1": "ON"}}, "values.1: found 'ON', allowed: a number"),
        (
            {"signal": "vehicle.ignition", "byte": 0, "values": {"1": "On"}},
            "values.1: found 'On', allowed: one of LOCK",
        ),
        (
            {"signal": "dashboard.night", "byte": 0, "values": {"1": "ON"}},
            "values.1: found 'ON', allowed: true or false",
        ),
        ({"byte": 0, "unit": "rmp"}, "unit: found 'rmp', allowed: units Pa"),
        ({"byte": 0, "unit": "bar"}, "unit: found 'bar', allowed: a unit for engine.speed: 'bar' measures pressure"),
        ({"byte": 0, "unavailable": [256]}, "unavailable#1: found [256, 256], allowed: raw numbers from 0 to 255"),
        ({"byte": 0, "unavailable": [[9, 3]]}, "unavailable#1: found [9, 3], allowed: raw numbers from 0 to 255"),
        (
            {"byte": 0, "coding": "signed", "unavailable": [128]},
            "unavailable#1: found [128, 128], allowed: raw numbers from -",
        ),
        ({"byte": 0, "saturates_at": 256}, "saturates_at: found 256, allowed: a raw number from 0 to 255"),
        ({"byte": 0, "present_if": {"byte": 1}}, "present_if.length: found 8, allowed: one bit"),
        ({"byte": 0, "select": {"byte": 1}}, "select.values: found nothing, allowed: this key must be there"),
        ({"byte": 0, "select": {"byte": 1, "values": []}}, "select.values: found an empty list"),
    ],
)
def test_every_kind_of_mistake_has_its_sentence(keys: dict[str, Any], says: str) -> None:
    assert mistake(**keys).startswith(says)


def test_a_file_that_counts_from_one_has_no_byte_zero() -> None:
    assert (
        mistake(counts_from=1, byte=0) == 'byte: found 0, allowed: at least 1, since this file says counting = "from 1"'
    )
    assert mistake(counts_from=1, byte=9) == "found engine.speed up to byte 9, allowed: bytes up to 8"


def test_a_misspelt_choice_gets_the_nearest_one() -> None:
    assert mistake(signal="vehicle.ignition", byte=0, values={"1": "ACCC"}).endswith("did you mean 'ACC'?")


def test_several_mistakes_of_a_field_come_at_once() -> None:
    assert len(mistake(byte=0, scale=0, unit="x", saturates_at=999).splitlines()) == 3
