"""Units: factors with their sources, and how a value in a unit is written.

A unit belongs to one quantity; values are converted as ``base = value * factor + offset``.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: what it measures, its way to that quantity's base unit, its label and the decimals a page shows."""

    name: str
    quantity: str
    factor: float
    label: str
    digits: int
    offset: float = 0.0


_TABLE = (
    # pressure, base Pa. bar, mbar, hPa: exact by definition; psi: NIST SP 811 App. B.8 (6.894757 E+03);
    # inHg: conventional at 0 degC, NIST SP 811 (3.386389 E+03); kgf/cm2 from standard gravity, exact; atm exact
    Unit("Pa", "pressure", 1.0, "Pa", 0),
    Unit("kPa", "pressure", 1e3, "kPa", 0),
    Unit("hPa", "pressure", 1e2, "hPa", 0),
    Unit("mbar", "pressure", 1e2, "mbar", 0),
    Unit("bar", "pressure", 1e5, "bar", 2),
    Unit("psi", "pressure", 6894.757293168, "psi", 1),
    Unit("inHg", "pressure", 3386.389, "inHg", 1),
    Unit("kgf/cm2", "pressure", 98066.5, "kg/cm²", 2),
    Unit("atm", "pressure", 101325.0, "atm", 2),
    # temperature, base K. exact by definition (SI brochure 2.3.1; degF: NIST SP 811 App. B.8)
    Unit("degC", "temperature", 1.0, "°C", 0, 273.15),
    Unit("degF", "temperature", 5.0 / 9.0, "°F", 0, 273.15 - 32.0 * 5.0 / 9.0),
    Unit("K", "temperature", 1.0, "K", 0),
    # speed, base m/s. the international mile is 1609.344 m exactly
    Unit("km/h", "speed", 1.0 / 3.6, "km/h", 0),
    Unit("m/s", "speed", 1.0, "m/s", 1),
    Unit("mph", "speed", 0.44704, "mph", 0),
    Unit("rpm", "rotation", 1.0, "rpm", 0),
    Unit("V", "voltage", 1.0, "V", 1),
    Unit("mV", "voltage", 1e-3, "mV", 0),
    # power, base W. kW: exact; hp (550 ft lbf/s) and metric PS: NIST SP 811 App. B.8 (7.456999 E+02, 7.354988 E+02)
    Unit("kW", "power", 1e3, "kW", 1),
    Unit("hp", "power", 745.69987158227022, "hp", 0),
    Unit("PS", "power", 735.49875, "PS", 0),
    Unit("A", "current", 1.0, "A", 1),
    Unit("deg", "angle", 1.0, "°", 1),
    Unit("%", "share", 1.0, "%", 0),
    Unit("ratio", "share", 100.0, "", 2),
    Unit("lambda", "lambda", 1.0, "λ", 2),
    Unit("s", "time", 1.0, "s", 0),
    Unit("min", "time", 60.0, "min", 0),
    Unit("h", "time", 3600.0, "h", 1),
    Unit("km", "distance", 1000.0, "km", 0),
    Unit("m", "distance", 1.0, "m", 0),
    Unit("mi", "distance", 1609.344, "mi", 0),
    # the international foot is 0.3048 m exactly (NIST SP 811 App. B.6)
    Unit("ft", "distance", 0.3048, "ft", 0),
    Unit("g/s", "mass flow", 1.0, "g/s", 1),
    Unit("L/h", "volume flow", 1.0, "L/h", 1),
    Unit("Nm", "torque", 1.0, "Nm", 0),
    Unit("", "number", 1.0, "", 0),
)

UNITS = {unit.name: unit for unit in _TABLE}


def linear(source: str, target: str) -> tuple[float, float]:
    """Return (factor, offset) with ``target = source * factor + offset``.

    Raises:
        ValueError: a unit is unknown, or the two measure different quantities.
    """
    for name in (source, target):
        if name not in UNITS:
            raise ValueError(f"unit {name!r} is not known; known are {', '.join(sorted(n for n in UNITS if n))}")
    a, b = UNITS[source], UNITS[target]
    if a.quantity != b.quantity:
        raise ValueError(f"{source!r} measures {a.quantity}, {target!r} measures {b.quantity}")
    return a.factor / b.factor, (a.offset - b.offset) / b.factor


def convert(value: float, source: str, target: str) -> float:
    """Convert a value between units of one quantity; raises ValueError as `linear` does."""
    factor, offset = linear(source, target)
    return value * factor + offset


def compatible(unit: str) -> list[str]:
    """Return the names of the units a value in `unit` can be shown in."""
    return [u.name for u in _TABLE if u.quantity == UNITS[unit].quantity]
