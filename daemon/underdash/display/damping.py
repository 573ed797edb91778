"""Damping: bands follow a jump of their value in a stated time, whatever the rate of images. Figures do not.

Between two looks at the values a band moves towards what was wanted then, as a first-order lag does; so where it stands
depends on the time alone. A band that appears, or whose scale changes, is where it belongs at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from ..contract.pages import Scale
from .elements import Picture, Sweep

BAND_S = 0.06
"""Time constant: after it 63 % of a jump are done, after three times it 95 %."""
SETTLED = 0.004
"""Share of the scale that no eye sees; what is closer to its value has arrived."""


@dataclass(frozen=True, slots=True)
class _Band:
    at: float
    shown: float
    wanted: float
    scale: Scale


class Damping:
    """Damps the pictures of one panel.

    Args:
        seconds: time constant.
    """

    def __init__(self, seconds: float = BAND_S) -> None:
        self._seconds = seconds
        self._bands: dict[tuple[str, int], _Band] = {}

    def step(self, page: str, picture: Picture, now: float) -> Picture:
        """Return a picture with its bands where they stand now (seconds, monotonic)."""
        before, self._bands = self._bands, {}
        sweep = None
        if picture.sweep is not None:
            sweep = self._damped((page, -1), picture.sweep, before, now)
        columns = tuple(
            column._replace(sweep=self._damped((page, number), column.sweep, before, now))
            for number, column in enumerate(picture.columns)
        )
        return picture._replace(sweep=sweep, columns=columns)

    def _damped(self, key: tuple[str, int], sweep: Sweep, before: dict[tuple[str, int], _Band], now: float) -> Sweep:
        if sweep.value is None:
            return sweep
        wanted = min(max(sweep.value, sweep.scale.low), sweep.scale.high)
        band = before.get(key)
        shown = wanted
        if band is not None and band.scale == sweep.scale and now >= band.at:
            shown = band.wanted + (band.shown - band.wanted) * exp((band.at - now) / self._seconds)
        if not abs(shown - wanted) > SETTLED * (sweep.scale.high - sweep.scale.low):
            shown = wanted
        self._bands[key] = _Band(now, shown, wanted, sweep.scale)
        return sweep if shown == wanted else sweep._replace(value=shown)
