"""Unit factors against pint, an independent library, and against published conversion tables.

Sources of the constants: NIST SP 811 (2008), appendix B.8, as widely reproduced; ISO 2533 for the standard atmosphere.
"""

from __future__ import annotations

from typing import Any

import pint
import pytest

from underdash.contract.units import UNITS, compatible, convert, linear
from underdash.signals.catalogue import CATALOGUE

PINT_NAMES = {
    "inHg": "inHg", "kgf/cm2": "kgf/cm**2", "degC": "degC", "degF": "degF", "K": "kelvin", "km/h": "km/h", "m/s": "m/s",
    "mph": "mile/hour", "rpm": "rpm", "deg": "degree", "%": "percent", "ratio": "dimensionless", "g/s": "g/s",
    "L/h": "liter/hour", "Nm": "N*m", "atm": "atm", "mi": "mile", "min": "minute", "h": "hour",
}  # fmt: skip
NO_PHYSICS = {"", "lambda"}


@pytest.fixture(scope="module")
def registry() -> Any:
    return pint.UnitRegistry()


PAIRS = [(a, b) for a in UNITS for b in compatible(a) if a != b and a not in NO_PHYSICS]


@pytest.mark.parametrize(("source", "target"), PAIRS)
def test_conversions_agree_with_an_independent_library(source: str, target: str, registry: Any) -> None:
    for value in (-40.0, 0.0, 1.0, 101.325, 250.0):
        quantity = registry.Quantity(value, PINT_NAMES.get(source, source))
        theirs = quantity.to(PINT_NAMES.get(target, target)).magnitude
        assert convert(value, source, target) == pytest.approx(theirs, rel=2e-7, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "source", "target", "published", "tolerance"),
    [
        (1.0, "psi", "kPa", 6.894757293, 1e-9),
        (1.0, "kPa", "psi", 0.1450377, 1e-7),
        (1.0, "kPa", "inHg", 0.2952998, 1e-7),
        (1.0, "inHg", "kPa", 3.386389, 1e-9),
        (101.325, "kPa", "psi", 14.69595, 1e-5),
        (101.325, "kPa", "atm", 1.0, 1e-12),
        (1.0, "bar", "kPa", 100.0, 1e-12),
        (1.0, "mbar", "hPa", 1.0, 1e-12),
        (1.0, "kgf/cm2", "kPa", 98.0665, 1e-12),
        (212.0, "degF", "degC", 100.0, 1e-9),
        (-40.0, "degF", "degC", -40.0, 1e-9),
        (0.0, "degC", "K", 273.15, 1e-12),
        (1.0, "mph", "km/h", 1.609344, 1e-12),
    ],
)
def test_published_conversions(value: float, source: str, target: str, published: float, tolerance: float) -> None:
    assert convert(value, source, target) == pytest.approx(published, abs=tolerance)


def test_every_stored_unit_is_one_that_can_be_shown() -> None:
    assert {entry.unit for entry in CATALOGUE.values()} <= set(UNITS)


def test_units_of_different_quantities_and_unknown_ones_are_refused() -> None:
    with pytest.raises(ValueError, match="'kPa' measures pressure, 'degC' measures temperature"):
        linear("kPa", "degC")
    with pytest.raises(ValueError, match="unit 'furlong' is not known; known are %, A, K"):
        linear("furlong", "m")


def test_compatible_units_lead_there_and_back() -> None:
    for name in UNITS:
        for other in compatible(name):
            assert convert(convert(12.5, name, other), other, name) == pytest.approx(12.5)
