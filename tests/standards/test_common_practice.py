"""What our shipped, invented descriptions take for granted about cars. Common practice, no source."""

from __future__ import annotations

from underdash.contract.cars import CarDescription
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
