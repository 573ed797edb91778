"""What is written is read again as what it was."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.broadcast.bits import place_of
from underdash.config.car_layout import Context
from underdash.config.car_parts import listener_of, own_signal_of
from underdash.config.cars import read_car
from underdash.config.mistakes import Mistakes, Source
from underdash.config.spelling import Table, listener_table, signal_table
from underdash.config.structure import Structure
from underdash.contract.layout import Bits, BroadcastListener, ByteOrder, Checksum, Coding, Field, Select
from underdash.contract.signals import Kind, Signal

CARS = sorted((Path(__file__).parents[2] / "config" / "cars").glob("*.toml"))


def context(counts_from: int) -> Context:
    return Context(Structure(Mistakes(Source())), counts_from, None, buses={"drive", "comfort"})


def read_again(table: Table, counts_from: int) -> BroadcastListener:
    known = context(counts_from)
    made = listener_of(table, ("broadcast", 0), known)
    assert [str(one) for one in known.mistakes.found] == []
    assert made is not None
    return made


def same(one: Bits, other: Bits) -> bool:
    """Within one byte the order says nothing."""
    a, b = place_of(one), place_of(other)
    return a == b or (a.first == a.last and replace(a, little=b.little) == b)


def fits(bits: Bits) -> bool:
    return place_of(bits).last < 8


BITS = st.builds(
    Bits, st.integers(0, 7), st.integers(1, 64), st.none() | st.integers(0, 7), st.sampled_from(ByteOrder)
).filter(fits)
SELECTS = st.none() | st.builds(Select, BITS.filter(lambda bits: bits.length > 3), st.just((1, 2)))
FIELDS = st.builds(
    Field,
    st.just("engine.speed"),
    BITS,
    st.sampled_from((Coding.UNSIGNED, Coding.SIGNED)),
    scale=st.sampled_from((1.0, 0.25, -3.0)),
    offset=st.sampled_from((0.0, -40.0)),
    select=SELECTS,
)


@given(FIELDS, st.integers(0, 1), st.booleans())
def test_a_field_comes_back_where_it_was(field: Field, counts_from: int, extended: bool) -> None:
    listener = BroadcastListener("drive", 0x1A4, (field,), extended, period_s=0.1)
    back = read_again(listener_table(listener, counts_from), counts_from)
    (one,) = back.fields
    assert (back.bus, back.id, back.extended, back.period_s) == ("drive", 0x1A4, extended, 0.1)
    assert same(one.bits, field.bits)
    assert (one.coding, one.scale, one.offset) == (field.coding, field.scale, field.offset)
    if field.select is not None:
        assert one.select is not None
        assert same(one.select.bits, field.select.bits)


@pytest.mark.parametrize("counts_from", [0, 1])
@pytest.mark.parametrize(
    "checksum",
    [
        Checksum("crc8", 7, 0x07, 0x00, 0x5A, reflected=True),
        Checksum("sum8", 7, final=0x10, initial=0, negative=True),
        Checksum("sum4", 7, final=0x0B, initial=0, bit=4, negative=True),
        Checksum("xor4", 2, final=0, initial=0, last=2),
    ],
)
def test_a_checksum_comes_back(checksum: Checksum, counts_from: int) -> None:
    listener = BroadcastListener("drive", 0x1A4, (Field("engine.speed", Bits(0)),), checksum=checksum)
    assert read_again(listener_table(listener, counts_from), counts_from).checksum == checksum


@pytest.mark.parametrize("path", CARS, ids=lambda path: path.stem)
@pytest.mark.parametrize("counts_from", [0, 1])
def test_every_broadcast_of_the_shipped_cars_comes_back_whole(path: Path, counts_from: int) -> None:
    variant = "manual" if path.stem == "every_key" else None
    for listener in read_car(path, variant=variant).broadcasts:
        back = read_again(listener_table(listener, counts_from), counts_from)
        again = read_again(listener_table(back, counts_from), counts_from)
        assert again == back
        assert [f.signal for f in back.fields] == [f.signal for f in listener.fields]
        assert (back.counter, back.checksum, back.note) == (listener.counter, listener.checksum, listener.note)
        for one, other in zip(back.fields, listener.fields, strict=True):
            assert same(one.bits, other.bits)
            assert (one.values, one.points, one.unavailable) == (other.values, other.points, other.unavailable)


@pytest.mark.parametrize(
    "signal",
    [
        Signal("car.fan_stage", "%", "how hard the fan works", low=0.0, high=100.0),
        Signal("car.heater", "", "auxiliary heater", Kind.CHOICE, choices=("off", "full")),
        Signal("car.plug", "", "plugged in", Kind.SWITCH),
    ],
    ids=lambda signal: signal.name,
)
def test_a_signal_comes_back(signal: Signal) -> None:
    assert own_signal_of(signal_table(signal), ("signal", 0), context(0)) == signal
