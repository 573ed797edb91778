"""What the owner can set under ``[plugin.battery]``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from underdash import Limits

Volts = Annotated[float, Limits(low=4.0, high=36.0, unit="V")]
Points = tuple[tuple[float, float], ...]

FLOODED: Points = ((11.6, 0.0), (12.0, 25.0), (12.2, 50.0), (12.4, 75.0), (12.6, 100.0))
"""Flooded lead-acid, hours at rest, 25 degC: a table that goes round among battery users; others differ by 0.1 V."""


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings of the battery page.

    Args:
        scale_low, scale_high: ends of the scale.
        charging: from here the battery is being charged. Common practice, no source.
        low, high: limits of the two alerts, and where the scale turns amber and red.
        rest: (volts, per cent) of a battery at rest, in rising order; the maker's data go before the table here.
        rest_s: how long the engine has to rest before the voltage says something about the charge.
        alerts: whether the limits raise alerts on any page.
    """

    scale_low: Volts = 10.5
    scale_high: Volts = 15.5
    charging: Volts = 13.2
    low: Volts = 11.8
    high: Volts = 15.1
    rest: Points = FLOODED
    rest_s: Annotated[float, Limits(low=60.0, high=86_400.0, unit="s")] = 7200.0
    alerts: bool = True

    def __post_init__(self) -> None:
        rising = [self.scale_low, self.low, self.charging, self.high, self.scale_high]
        if rising != sorted(set(rising)):
            raise ValueError("`scale_low`, `low`, `charging`, `high`, `scale_high` in rising order")
        volts, shares = [v for v, _ in self.rest], [s for _, s in self.rest]
        if len(self.rest) < 2 or volts != sorted(set(volts)) or shares != sorted(shares):
            raise ValueError("at least two pairs in `rest`, both numbers rising")
        if shares[0] < 0 or shares[-1] > 100:
            raise ValueError("shares from 0 to 100 in `rest`")
