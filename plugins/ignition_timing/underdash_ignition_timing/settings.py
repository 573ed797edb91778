"""What the owner can set under ``[plugin.ignition_timing]``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from underdash import Limits

Degrees = Annotated[float, Limits(low=-64.0, high=64.0, unit="deg")]
Retard = Annotated[float, Limits(above=0.0, high=60.0, unit="deg")]


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings of the page, in degrees of the crankshaft.

    Args:
        low, high: ends of the scale, before top dead centre; below zero is after it.
        knock_caution, knock_warning: from here what knocking takes back is amber and red. Common practice, no source.
        alert: whether a knock retard above `knock_warning` raises an alert on any page; a polled value comes late.
        history_s: how much recent history is drawn.
    """

    low: Degrees = -10.0
    high: Degrees = 50.0
    knock_caution: Retard = 3.0
    knock_warning: Retard = 6.0
    alert: bool = False
    history_s: Annotated[float, Limits(low=5.0, high=600.0, unit="s")] = 30.0

    def __post_init__(self) -> None:
        if not self.low <= 0.0 < self.high:
            raise ValueError("`low` at or below 0, `high` above it")
        if self.knock_caution >= self.knock_warning:
            raise ValueError("`knock_caution` below `knock_warning`")
