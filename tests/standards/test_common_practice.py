"""What our shipped, invented descriptions take for granted about cars. Common practice, no source."""

from __future__ import annotations

from underdash.contract.cars import CarDescription
from underdash.contract.requests import Answer
from underdash.diagnostics import single_frame
from underdash.diagnostics.parameters import own_signals
from underdash.diagnostics.requests import compile_polls
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store
from underdash.wiring.assembly import choose_car, load_bundled


def car(name: str) -> CarDescription:
    return choose_car(name, load_bundled())[0]


def test_a_drive_bus_has_500_and_a_comfort_bus_125_kbit_per_s() -> None:
    """Common practice, no source."""
    assert {bus.role: bus.bitrate for bus in car("tarn").buses} == {"drive": 500_000, "comfort": 125_000}


def test_its_units_are_asked_with_29_bit_ids_and_zero_padding() -> None:
    """Common practice, no source."""
    units = car("tarn").units
    assert units
    assert {(unit.extended, unit.padding) for unit in units} == {(True, 0)}


def test_what_it_is_asked_fills_eight_bytes_with_zeros() -> None:
    """Common practice, no source."""
    tarn = car("tarn")
    store = Store(CATALOGUE.with_signals(own_signals()))
    for poll in compile_polls(tarn, tarn.polls, (), store, CATALOGUE.with_signals(own_signals())).polls:
        assert len(poll.frame.data) == 8
        assert poll.frame.data == poll.payload.ljust(8, b"\x00")


def test_a_reply_names_the_service_it_was_asked_for_plus_40_hex() -> None:
    """Common practice, no source: for makers' own commands as for the standards' services."""
    (form,) = car("tarn").formats
    assert form.reply_adds == 0x40
    unit = next(unit for unit in car("tarn").units if unit.name == "charge_air")
    asked = single_frame.encode(form, unit, 0x1A04)
    reply = bytes((0x96, asked[1], asked[2] + 0x40, *asked[3:5], 0x07, 0xEA))
    answer = single_frame.decode(form, unit, reply)
    assert isinstance(answer, Answer)
    assert (answer.identifier, answer.data) == (0x1A04, bytes.fromhex("07EA"))


def test_the_dashboards_dimming_takes_a_few_bits_of_one_frame() -> None:
    """Common practice, no source."""
    for name in ("tarn", "loris"):
        fields = [
            (frame.bus, frame.id, field.bits.length)
            for frame in car(name).broadcasts
            for field in frame.fields
            if field.signal.startswith("dashboard.")
        ]
        assert fields
        assert len({(bus, can_id) for bus, can_id, _ in fields}) == 1
        assert all(length <= 8 for _, _, length in fields)
