"""What the owner can set under ``[plugin.traction_battery]``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from underdash import Limits

Share = Annotated[float, Limits(low=0.0, high=100.0, unit="%")]
Celsius = Annotated[float, Limits(low=-40.0, high=100.0, unit="degC")]
Spread = Annotated[float, Limits(above=0.0, high=5000.0, unit="mV")]


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings of the page. All limits are common practice, no source; the maker's figures go before them.

    Args:
        low, high: ends of the scale of the charge; a hybrid uses the middle only, such as 30 to 80.
        reserve: below this the charge is amber.
        cold, warm, hot: temperatures from which the battery is ready, amber, red.
        spread: from here the difference between the cells is amber.
        alerts: whether a hot battery raises an alert on any page.
    """

    low: Share = 0.0
    high: Share = 100.0
    reserve: Share = 15.0
    cold: Celsius = 5.0
    warm: Celsius = 42.0
    hot: Celsius = 50.0
    spread: Spread = 100.0
    alerts: bool = True

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise ValueError("`low` below `high`")
        if not self.cold < self.warm < self.hot:
            raise ValueError("`cold` below `warm` below `hot`")
