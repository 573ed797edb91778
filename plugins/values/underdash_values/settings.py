"""What the owner can set under ``[plugin.values]``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

from underdash import Limits

from .labels import labels

MOST = 4


@dataclass(frozen=True, kw_only=True)
class Value:
    """One value of a page; limits are in the signal's stored unit.

    Args:
        signal: its name.
        label: what the page calls it; made from the signal's name if left out.
        low, high: ends of the scale; the page has one for its first value where both are given.
        caution, warning: from here the value is amber, red; `caution_below`, `warning_below`: below here.
    """

    signal: str
    label: str = ""
    low: float | None = None
    high: float | None = None
    caution: float | None = None
    warning: float | None = None
    caution_below: float | None = None
    warning_below: float | None = None

    def __post_init__(self) -> None:
        if (self.low is None) != (self.high is None):
            raise ValueError("both `low` and `high`, or none of them")
        rising = (self.low, self.warning_below, self.caution_below, self.caution, self.warning, self.high)
        given = [limit for limit in rising if limit is not None]
        if given != sorted(given) or (self.low is not None and self.low == self.high):
            raise ValueError("low, warning_below, caution_below, caution, warning, high in rising order")


@dataclass(frozen=True, kw_only=True)
class ValuesPage:
    """One page.

    Args:
        values: one to four, the first in large digits.
        title: what the page is called; the first value's label if left out.
        period_s: how often the values are wanted.
        history_s: how much recent history is drawn where there is one value.
    """

    values: tuple[Value, ...]
    title: str = ""
    period_s: Annotated[float, Limits(low=0.04, high=60.0, unit="s")] = 0.2
    history_s: Annotated[float, Limits(low=5.0, high=600.0, unit="s")] = 30.0

    def __post_init__(self) -> None:
        if not 1 <= len(self.values) <= MOST:
            raise ValueError("one to four `values`, so that one glance is enough")
        names = [value.signal for value in self.values]
        if len(set(names)) < len(names):
            raise ValueError("each signal once in `values`")

    @property
    def labels(self) -> list[str]:
        """What the page calls its values."""
        made = labels([value.signal for value in self.values])
        return [value.label or one for value, one in zip(self.values, made, strict=True)]


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings of the plug-in.

    Args:
        pages: by name, which is how decks and `underdash page` call them.
    """

    pages: Mapping[str, ValuesPage] = field(default_factory=dict)
