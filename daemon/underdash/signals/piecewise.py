"""Tables of points: what a value is between them, and which way it goes on beyond them."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable

from ..contract.signals import Quality


def piecewise(points: list[tuple[float, float]]) -> Callable[[float], tuple[float, Quality]]:
    """Return the function a table of (raw, value) stands for; beyond an end it holds and says which way it goes on."""
    raws = [raw for raw, _ in points]
    values = [float(value) for _, value in points]
    # a table may fall (a thermistor): then the true value is above the first one where the raw number is below it
    below = Quality.BELOW if values[0] <= values[1] else Quality.ABOVE
    above = Quality.ABOVE if values[-1] >= values[-2] else Quality.BELOW

    def value_of(raw: float) -> tuple[float, Quality]:
        if raw < raws[0]:
            return values[0], below
        if raw > raws[-1]:
            return values[-1], above
        left = min(bisect_right(raws, raw), len(raws) - 1) - 1
        share = (raw - raws[left]) / (raws[left + 1] - raws[left])
        return values[left] + (values[left + 1] - values[left]) * share, Quality.GOOD

    return value_of
