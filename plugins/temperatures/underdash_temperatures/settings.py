"""What the owner can set under ``[plugin.temperatures]``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Thresholds:
    """Where a temperature is cold, hot and too hot; all in degC, None for what is left as it comes.

    Args:
        label: what the page calls it.
        low, high: ends of the scale, used where it is the main value.
        cold: below this it is shown muted.
        caution, warning: from here it is shown in these colours.
    """

    label: str | None = None
    low: float | None = None
    high: float | None = None
    cold: float | None = None
    caution: float | None = None
    warning: float | None = None

    def __post_init__(self) -> None:
        given = [x for x in (self.low, self.cold, self.caution, self.warning, self.high) if x is not None]
        if given != sorted(given):
            raise ValueError("low, cold, caution, warning, high in rising order")


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings of the temperatures page.

    Args:
        main: the signal in large digits; the first of those shown if left out.
        signals: what is shown, main one included, four at most; if empty, the first four this car provides.
        limits: limits by signal, over those that come with the plug-in.
        alerts: whether a warning limit that is passed for three seconds raises an alert on any page.
    """

    main: str = ""
    signals: tuple[str, ...] = ()
    limits: Mapping[str, Thresholds] = field(default_factory=dict)
    alerts: bool = True

    def __post_init__(self) -> None:
        if len(self.signals) > 4:
            raise ValueError("four `signals` at most, so that one glance is enough")
        if self.signals and self.main and self.main not in self.signals:
            raise ValueError("`main` one of `signals`")
