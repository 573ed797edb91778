"""The standard atmosphere (ISO 2533:1975; ICAO Doc 7488), to which boost is referred where nothing measured ambient.

The table is the barometric formula of that standard, p = 101.325 kPa (1 - 0.0065 h / 288.15)^5.2559, rounded to the
pascal; h is geopotential height. The package `ambiance` (Apache licence) takes geometric height, which is worth up to
0.03 kPa here.
"""

from __future__ import annotations

import pytest
from ambiance import Atmosphere

from underdash_boost.settings import Settings

TABLE_KPA = {0: 101.325, 500: 95.461, 1000: 89.875, 1500: 84.556, 2000: 79.495, 2500: 74.683, 3000: 70.109}
TOLERANCE_KPA = 0.03


@pytest.mark.parametrize(("metres", "kpa"), TABLE_KPA.items())
def test_the_table_agrees_with_an_independent_implementation(metres: int, kpa: float) -> None:
    assert float(Atmosphere(metres).pressure[0]) / 1e3 == pytest.approx(kpa, abs=TOLERANCE_KPA)


@pytest.mark.parametrize(("metres", "kpa"), TABLE_KPA.items())
def test_the_table_agrees_with_the_formula(metres: int, kpa: float) -> None:
    assert 101.325 * (1 - 0.0065 * metres / 288.15) ** 5.2559 == pytest.approx(kpa, abs=0.001)


def test_the_assumed_reference_is_sea_level() -> None:
    assert Settings().assumed_ambient_kpa == TABLE_KPA[0]


def test_at_1500_metres_the_assumed_reference_is_wrong_by_16_8_kpa() -> None:
    assert Settings().assumed_ambient_kpa - TABLE_KPA[1500] == pytest.approx(16.8, abs=0.05)
