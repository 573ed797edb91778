"""Every factor of the unit table against `pint`, an independent implementation of NIST SP 811 and the SI brochure."""

from __future__ import annotations

import pint
import pytest

from underdash.contract.units import UNITS, compatible, convert, linear

PINT = {
    "Pa": "pascal",
    "kPa": "kilopascal",
    "hPa": "hectopascal",
    "mbar": "millibar",
    "bar": "bar",
    "psi": "psi",
    "inHg": "inch_Hg",
    "kgf/cm2": "kilogram_force / centimeter ** 2",
    "atm": "atmosphere",
    "degC": "degree_Celsius",
    "degF": "degree_Fahrenheit",
    "K": "kelvin",
    "km/h": "kilometer / hour",
    "m/s": "meter / second",
    "mph": "mile / hour",
    "rpm": "revolution / minute",
    "V": "volt",
    "mV": "millivolt",
    "A": "ampere",
    "deg": "degree",
    "%": "percent",
    "ratio": "dimensionless",
    "s": "second",
    "ms": "millisecond",
    "min": "minute",
    "h": "hour",
    "km": "kilometer",
    "m": "meter",
    "mi": "mile",
    "ft": "foot",
    "g/s": "gram / second",
    "kg/h": "kilogram / hour",
    "L/h": "liter / hour",
    "L": "liter",
    "W": "watt",
    "kW": "kilowatt",
    "hp": "horsepower",
    "PS": "metric_horsepower",
    "Wh": "watt_hour",
    "kWh": "kilowatt_hour",
    "Ah": "ampere_hour",
    "mA": "milliampere",
    "Hz": "hertz",
    "kg": "kilogram",
    "g": "gram",
    "Nm": "newton * meter",
    "ohm": "ohm",
    "kohm": "kiloohm",
    "m/s2": "meter / second ** 2",
}
OWN = {"", "lambda"}
"""Plain numbers: they convert into nothing else."""

CLOSE = {"inHg": 1e-6}
"""NIST SP 811 rounds the conventional inch of mercury to 3386.389 Pa."""


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()


def test_every_unit_is_checked() -> None:
    assert set(UNITS) - OWN <= set(PINT), "write the unit's name in pint beside the others"


@pytest.mark.parametrize(
    ("source", "target"),
    [(a, b) for a in UNITS if a not in OWN for b in compatible(a)],
    ids=lambda name: str(name).replace("/", "_per_"),
)
@pytest.mark.parametrize("value", [-40.0, 1.0, 255.0])
def test_every_conversion_agrees_with_pint(
    registry: pint.UnitRegistry[float], source: str, target: str, value: float
) -> None:
    expected = registry.Quantity(value, PINT[source]).to(PINT[target]).magnitude
    tolerance = max(CLOSE.get(source, 0.0), CLOSE.get(target, 0.0), 1e-9)
    assert convert(value, source, target) == pytest.approx(expected, rel=tolerance, abs=1e-9)


def test_units_of_two_quantities_do_not_convert() -> None:
    with pytest.raises(ValueError, match=r"'kPa' measures pressure, 'degC' measures temperature"):
        linear("kPa", "degC")
    with pytest.raises(ValueError, match="'stone' is not known"):
        linear("stone", "kPa")


def test_known_figures() -> None:
    assert convert(1.0, "kPa", "psi") == pytest.approx(0.1450377, abs=1e-7)
    assert convert(1.0, "kPa", "inHg") == pytest.approx(0.2952998, abs=1e-6)
    assert convert(101.325, "kPa", "psi") == pytest.approx(14.69595, abs=1e-5)
    assert convert(-40.0, "degC", "degF") == pytest.approx(-40.0)
