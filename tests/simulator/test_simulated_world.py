from __future__ import annotations

import pytest

from underdash.simulator.world import World, pressure_at


@pytest.mark.parametrize(
    ("altitude_m", "kpa"), [(0, 101.325), (500, 95.461), (1000, 89.875), (1500, 84.556), (2000, 79.495)]
)
def test_air_pressure_follows_the_standard_atmosphere(altitude_m: float, kpa: float) -> None:
    # ISO 2533 / ICAO Doc 7488, geopotential altitude
    assert pressure_at(altitude_m) == pytest.approx(kpa, abs=0.03)


def test_air_is_colder_on_the_mountain_by_6_5_kelvin_a_kilometre() -> None:
    world = World(sea_level_degc=14.0)
    for _ in range(100):
        world.step(10.0, 1.0, 1.0)
    assert world.altitude_m == pytest.approx(1000.0)
    assert world.temperature_degc == pytest.approx(7.5)


def test_dusk_takes_its_time() -> None:
    world = World()
    world.step(0.0, 0.0, 0.05)
    assert world.daylight > 0.99
    for _ in range(2400):
        world.step(0.0, 0.0, 0.05)
    assert world.daylight < 0.01
