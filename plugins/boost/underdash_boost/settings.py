"""What the owner can set under ``[plugin.boost]``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from underdash import UNITS, Limits, convert

STORED = "kPa"


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings of the boost page.

    Args:
        unit: unit of the five pressures that follow; what the panel shows is set under ``[units]``.
        full_scale: upper end of the scale, above ambient.
        vacuum: lower end, below ambient; used where the sensor knows vacuum.
        caution, warning: where the zones begin; leave them out for a scale without zones.
        assumed_ambient: absolute pressure taken for ambient where nothing measured it, None for that at sea level in
            the standard atmosphere (101.325 kPa; ISO 2533, ICAO Doc 7488).
        reference_limit_s: age from which the page says how old the measured ambient pressure is.
        vacuum_side: whether the page has a side below zero; "auto" is where manifold pressure is known.
        history_s: how much recent history is drawn.
    """

    unit: str = STORED
    full_scale: float = 160.0
    vacuum: float = 80.0
    caution: float | None = None
    warning: float | None = None
    assumed_ambient: float | None = None
    reference_limit_s: Annotated[float, Limits(above=0.0, unit="s")] = 1200.0
    vacuum_side: Literal["auto", "show", "hide"] = "auto"
    history_s: Annotated[float, Limits(low=5.0, high=600.0, unit="s")] = 30.0

    def __post_init__(self) -> None:
        if self.unit not in UNITS or UNITS[self.unit].quantity != "pressure":
            known = ", ".join(name for name, unit in UNITS.items() if unit.quantity == "pressure")
            raise ValueError(f"`unit` one of {known}")
        if self.full_scale <= 0 or self.vacuum <= 0:
            raise ValueError("`full_scale` and `vacuum` more than 0")
        zones = [limit for limit in (self.caution, self.warning) if limit is not None]
        if zones != sorted(zones) or any(not 0 < limit < self.full_scale for limit in zones):
            raise ValueError("`caution` below `warning`, both between 0 and `full_scale`")
        if not 45.0 <= self.assumed_ambient_kpa <= 110.0:
            raise ValueError("`assumed_ambient` an absolute pressure from 45 to 110 kPa")

    @property
    def assumed_ambient_kpa(self) -> float:
        """The constant, in kPa."""
        return 101.325 if self.assumed_ambient is None else convert(self.assumed_ambient, self.unit, STORED)
