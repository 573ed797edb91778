from __future__ import annotations

import pytest

from underdash.simulator.models import Body

BODY = Body(1500.0, 0.7)


def rolled(speed_kmh: float, force_n: float = 0.0, brake: float = 0.0, climb_m_s: float = 0.0) -> float:
    for _ in range(200):
        speed_kmh = BODY.roll(speed_kmh, force_n, brake, climb_m_s, 0.05)
    return speed_kmh


def test_a_car_left_alone_stands_and_never_rolls_backwards() -> None:
    assert rolled(0.0) == 0.0
    assert rolled(5.0, brake=0.5) == 0.0


def test_it_coasts_down_slowly_and_stops_sooner_uphill() -> None:
    flat, uphill = rolled(80.0), rolled(80.0, climb_m_s=1.2)
    assert 55.0 < flat < 80.0
    assert uphill < flat - 10.0


def test_force_beyond_the_resistance_speeds_it_up() -> None:
    resistance_n = BODY.resistance_n(80.0 / 3.6, 0.0)
    assert BODY.roll(80.0, resistance_n, 0.0, 0.0, 0.05) == pytest.approx(80.0)
    assert rolled(80.0, force_n=resistance_n + 1500.0) > 100.0
