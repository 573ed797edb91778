"""Where each temperature is cold, hot and too hot.

Common practice, no source: the maker's figures for your engine and gearbox go before these, in the settings.
"""

from __future__ import annotations

from collections.abc import Mapping

from underdash import Role, Scale, Zone, convert

from .settings import Thresholds

STORED = "degC"

KNOWN: dict[str, Thresholds] = {
    "gearbox.oil_temperature": Thresholds(label="gearbox oil", low=-20, cold=50, caution=115, warning=130, high=150),
    "traction_battery.temperature": Thresholds(label="battery", low=-20, cold=10, caution=40, warning=50, high=60),
    "engine.oil_temperature": Thresholds(label="engine oil", low=-20, cold=70, caution=125, warning=140, high=160),
    "engine.coolant_temperature": Thresholds(label="coolant", low=-20, cold=65, caution=108, warning=115, high=130),
    "engine.charge_temperature": Thresholds(label="charge air", low=-20, caution=60, warning=80, high=100),
    "engine.intake_temperature": Thresholds(label="intake air", low=-20, caution=60, warning=80, high=100),
    "exhaust.temperature": Thresholds(label="exhaust", low=0, caution=850, warning=950, high=1000),
}
"""In the order in which they are chosen where the owner did not."""


ORDER = ("low", "cold", "caution", "warning", "high")


def limits_for(signal: str, owners: Mapping[str, Thresholds]) -> Thresholds:
    """Return the limits of a signal: the owner's, and of those above what fits between them."""
    part, _, name = signal.rpartition(".")
    name = part if name == "temperature" else name.removesuffix("_temperature")
    name = name.replace("_", " ")
    base = KNOWN.get(signal, Thresholds(label=name, low=0, high=150))
    given = owners.get(signal, Thresholds())
    values: dict[str, float | None] = {}
    for place, key in enumerate(ORDER):
        own, usual = getattr(given, key), getattr(base, key)
        lower = [v for k in ORDER[:place] if (v := getattr(given, k)) is not None]
        upper = [v for k in ORDER[place + 1 :] if (v := getattr(given, k)) is not None]
        fits = usual is not None and all(v <= usual for v in lower) and all(usual <= v for v in upper)
        values[key] = own if own is not None else usual if fits else None
    known = [v for v in values.values() if v is not None]
    low = values["low"] if values["low"] is not None else min(known) - 20.0
    high = values["high"] if values["high"] is not None else max(known) + 20.0
    return Thresholds(
        label=given.label or base.label,
        low=low,
        high=high,
        cold=values["cold"],
        caution=values["caution"],
        warning=values["warning"],
    )


def scale_for(limits: Thresholds, unit: str) -> Scale:
    """Return the scale of a main value in the shown unit."""
    low = 0.0 if limits.low is None else limits.low
    high = low + 150.0 if limits.high is None else limits.high
    ends = [
        (low, limits.cold, Role.SOFT),
        (limits.caution, limits.warning if limits.warning is not None else high, Role.CAUTION),
        (limits.warning, high, Role.WARNING),
    ]
    zones = tuple(
        Zone(convert(start, STORED, unit), convert(end, STORED, unit), role)
        for start, end, role in ends
        if start is not None and end is not None and start < end
    )
    return Scale(convert(low, STORED, unit), convert(high, STORED, unit), convert(low, STORED, unit), zones)


def role_for(celsius: float | None, limits: Thresholds) -> Role:
    """Return how a value in degC is shown in a row."""
    if celsius is None:
        return Role.SOFT
    if limits.warning is not None and celsius >= limits.warning:
        return Role.WARNING
    if limits.caution is not None and celsius >= limits.caution:
        return Role.CAUTION
    return Role.SOFT if limits.cold is not None and celsius < limits.cold else Role.INK
