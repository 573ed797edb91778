from __future__ import annotations

import pytest

from underdash.broadcast.fields import compile_fields, length_of
from underdash.diagnostics.parameters import OWN, PARAMETERS, own_signals
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Rank, Store


@pytest.fixture
def store() -> Store:
    return Store(CATALOGUE.with_signals(own_signals()))


@pytest.mark.parametrize("pid", PARAMETERS)
def test_every_row_compiles_to_signals_that_are_declared(store: Store, pid: int) -> None:
    parameter = PARAMETERS[pid]
    slots = {field.signal: store.slot(field.signal, "test", Rank.POLL) for field in parameter.fields}
    compile_fields(parameter.fields, slots)(bytes(parameter.size), 1.0)
    assert length_of(parameter.fields) <= parameter.size
    assert parameter.source
    assert len(slots) == len(parameter.fields)


@pytest.mark.parametrize("pid", PARAMETERS)
def test_every_row_is_in_the_unit_its_signal_is_stored_in(pid: int) -> None:
    known = CATALOGUE.with_signals(own_signals())
    for quantity in PARAMETERS[pid].quantities:
        assert known[quantity.field.signal].unit == quantity.unit


def test_what_the_catalogue_has_not_is_declared_under_one_prefix() -> None:
    assert all(signal.name.startswith(OWN) and signal.name not in CATALOGUE for signal in own_signals())
    assert all(signal.meaning for signal in own_signals())


@pytest.mark.parametrize(("pid", "size"), [(0x66, 5), (0x67, 3), (0x68, 7), (0x6F, 3), (0x70, 10)])
def test_a_sensor_is_there_only_if_its_bit_says_so(store: Store, pid: int, size: int) -> None:
    parameter = PARAMETERS[pid]
    assert parameter.size == size
    slots = {field.signal: store.slot(field.signal, "test", Rank.POLL) for field in parameter.fields}
    read = compile_fields(parameter.fields, slots)
    read(bytes((0, *[0x64] * (size - 1))), 1.0)
    assert not any(slot.count for slot in slots.values())
    for number, slot in enumerate(slots.values()):
        before = [one.count for one in slots.values()]
        read(bytes((1 << number, *[0x14] * (size - 1))), 2.0)
        assert slot.count == before[number] + 1, f"bit {number}"
        assert sum(one.count for one in slots.values()) == sum(before) + 1


def test_what_cannot_change_while_driving_is_asked_once() -> None:
    once = {pid for pid, parameter in PARAMETERS.items() if parameter.once}
    assert once == {0x00, 0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0, 0x4F, 0x50}


def test_rows_are_numbered_by_themselves() -> None:
    assert all(pid == parameter.pid for pid, parameter in PARAMETERS.items())
    assert list(PARAMETERS) == sorted(PARAMETERS)
