"""A line through a field's numbers and a reference, not led astray by a few wrong pairs; with lag and drift."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from ..heard import Flags, Floats
from .lanes import Lane
from .moments import number_at
from .reference import Reference

MOST_LAG_S = 2.0
"""How much earlier or later than a reference a field may come."""

WRONG = 6.0
"""A pair further from the line than this many typical distances is left out."""

MOST_WRONG = 0.1
"""At most this part of the pairs is left out."""

LONG_S = 120.0
"""Two clocks are compared over at least this time (50 ppm make 6 ms of it)."""

MOST_DRIFT = 1e-3
"""Two clocks run apart by at most this much: an hour's recording by 3.6 s."""

AT_THE_END = 0.95
"""A drift of more than this part of the most may be any that is larger."""

MOST_WORTH = 16.0
"""Independent pairs that a fit is worth at most when it is weighed: what one sensor leaves of another one is mostly how
it lags and bends, and many values do not even that out (chosen on a car's two 12 V sensors: 8 is too few)."""

SLOWER = 1.5
"""Where frames come this many times more rarely than the reference's values, the reference is read at the frames."""


@dataclass(frozen=True)
class Pairs:
    """A field's numbers beside the reference's values: shape (pairs,) each."""

    at: Floats
    raw: Floats
    value: Floats


@dataclass(frozen=True)
class Line:
    """``value = scale * raw + offset``.

    Attributes:
        scale, offset: of the line.
        scale_error: standard error.
        middle, middle_error: the line's value at the mean raw number, and its standard error.
        mean: mean raw number.
        spread: root of the mean square of what is left, wrong pairs counted as far as they may lie.
        left: 1 - R2.
        worth: how many independent pairs what is left amounts to.
        kept: which pairs were used, shape (pairs,).
    """

    scale: float
    offset: float
    scale_error: float
    middle: float
    middle_error: float
    mean: float
    spread: float
    left: float
    worth: float
    kept: Flags


@dataclass(frozen=True)
class Timing:
    """When a field comes: ``at + lag_s + drift * (at - middle_s)`` for a reference's value at `at`."""

    lag_s: float = 0.0
    drift: float = 0.0
    middle_s: float = 0.0

    @property
    def drift_at_its_end(self) -> bool:
        """Whether the clocks may run apart by more than is looked for."""
        return abs(self.drift) >= AT_THE_END * MOST_DRIFT

    def shifted(self, at: Floats) -> Floats:
        """Return when the field carries what the reference held at `at`."""
        return at + self.lag_s + self.drift * (at - self.middle_s)


def pairs(lane: Lane, raw: Floats, reference: Reference, timing: Timing) -> Pairs:
    """Put a field's numbers beside the reference's values, at the times of whichever is rarer."""
    if len(lane) > 2 and lane.period_s > SLOWER * reference.step_s > 0:
        # solved for the reference's time; the drift is far too small to need more than one step
        at = lane.at - timing.lag_s
        at -= timing.drift * (at - timing.middle_s)
        keep = lane.says & (at >= reference.at[0]) & (at <= reference.at[-1])
        return Pairs(at[keep], raw[keep], np.interp(at[keep], reference.at, reference.value))
    number, there = number_at(lane, raw, timing.shifted(reference.at))
    return Pairs(reference.at[there], number[there], reference.value[there])


def line_through(found: Pairs) -> Line | None:
    """Fit a line; None where the numbers do not change or are too few."""
    raw, value = found.raw, found.value
    if len(raw) < 4 or np.ptp(raw) == 0 or np.ptp(value) == 0:
        return None
    kept = np.ones(len(raw), dtype=bool)
    scale, offset = _halves(raw, value) or _least(raw, value)
    for _ in range(3):
        distance = np.abs(value - scale * raw - offset)
        kept = distance <= _limit(distance, value)
        if np.ptp(raw[kept]) == 0:
            return None
        scale, offset = _least(raw[kept], value[kept])
    return _line(found, kept, scale, offset)


def _limit(distance: Floats, value: Floats) -> float:
    typical = max(1.4826 * float(np.median(distance)), 1e-9 * float(np.ptp(value)))
    return max(WRONG * typical, float(np.quantile(distance, 1 - MOST_WRONG)))


def _line(found: Pairs, kept: Flags, scale: float, offset: float) -> Line:
    raw, value = found.raw[kept], found.value[kept]
    rest = value - scale * raw - offset
    near = float(np.sqrt(np.mean(rest * rest)))
    # what was left out counts too, though no pair for more than it takes to be left out
    off = np.abs(found.value - scale * found.raw - offset)
    spread = float(np.sqrt(np.mean(np.minimum(off, WRONG * near) ** 2)))
    worth = independent(rest)
    mean, sway = float(raw.mean()), float(raw.std())
    freedom = max(worth - 2.0, 1.0)
    return Line(
        scale, offset, spread / (sway * np.sqrt(freedom)), scale * mean + offset, spread / float(np.sqrt(freedom)),
        mean, spread, spread**2 / max(float(np.var(value)), 1e-300), worth, kept,
    )  # fmt: skip


def independent(rest: Floats) -> float:
    """Return how many independent values a series amounts to: neighbours that resemble each other count less."""
    count = len(rest)
    power = float(rest @ rest)
    if count < 4 or power <= 0:
        return float(count)
    total = 1.0
    for shift in range(1, min(count // 2, 1000)):
        alike = float(rest[shift:] @ rest[:-shift]) / power
        if alike < 0.05:
            break
        total += 2.0 * alike
    return max(3.0, count / total)


def _least(raw: Floats, value: Floats) -> tuple[float, float]:
    mean, middle = float(raw.mean()), float(value.mean())
    away = raw - mean
    scale = float(away @ (value - middle)) / float(away @ away)
    return scale, middle - scale * mean


def _halves(raw: Floats, value: Floats) -> tuple[float, float] | None:
    """Return a line by the median slope from the lower to the upper half; a quarter of wrong pairs cannot turn it."""
    order = np.argsort(raw, kind="stable")
    half = len(order) // 2
    low, high = order[:half], order[-half:]
    far = raw[high] > raw[low]
    if np.count_nonzero(far) < max(3, half // 2):
        return None
    scale = float(np.median((value[high] - value[low])[far] / (raw[high] - raw[low])[far]))
    return scale, float(np.median(value - scale * raw))


def timed(
    lane: Lane, raw: Floats, reference: Reference, begin: Timing, reach_s: float, *, step_s: float | None = None
) -> Timing:
    """Refine the lag, and find the drift where the recording is long enough to show one.

    Args:
        lane, raw: a field and its numbers.
        reference: the quantity.
        begin: where to look.
        reach_s: how far from there.
        step_s: how finely lags have to be tried, `reach_s` if None.
    """
    timing = _best_lag(lane, raw, reference, begin, reach_s)
    if len(reference) < 8 or float(np.ptp(reference.at)) < LONG_S:
        return timing
    timing = replace(timing, middle_s=float(reference.at.mean()))
    half = len(reference) // 2
    rows = np.arange(len(reference))
    early, late = reference.only(rows[:half]), reference.only(rows[half:])
    apart_s = float(late.at.mean() - early.at.mean())
    # each half has to be looked for as far away as the largest drift takes it, and a little further, to see the end
    far_s, step_s, drifting = max(reach_s, 0.55 * MOST_DRIFT * apart_s), step_s or reach_s, timing
    # what a half tells need not come from its middle, so that the second look puts the first one right
    for look_s in (far_s, far_s / 4):
        first, second = (_best_lag(lane, raw, part, drifting, look_s, step_s=step_s).lag_s for part in (early, late))
        drift = min(MOST_DRIFT, max(-MOST_DRIFT, drifting.drift + (second - first) / apart_s))
        drifting = replace(drifting, drift=drift, lag_s=(first + second) / 2)
    with_drift, without = (line_through(pairs(lane, raw, reference, one)) for one in (drifting, timing))
    # one more number must explain more than chance would: twice the logarithm of the likelihood gains 6
    if with_drift and without and with_drift.worth * np.log(without.left / max(with_drift.left, 1e-12)) > 6.0:
        return drifting
    return timing


def _best_lag(
    lane: Lane, raw: Floats, reference: Reference, begin: Timing, reach_s: float, *, step_s: float | None = None
) -> Timing:
    """Narrow the lag down, around where it was seen before, in steps that leave no valley out."""
    first = line_through(pairs(lane, raw, reference, begin))
    if first is None:
        return begin
    # the same limit for all lags: what is far off counts for no more than that, and is not left out where it decides
    limit = max(WRONG * first.spread, 1e-9 * float(np.ptp(reference.value)))
    steps = 4 * ceil(reach_s / (step_s or reach_s))
    centre, reach = begin.lag_s, reach_s
    for _ in range(4):
        lags = np.clip(centre + reach * np.linspace(-1.0, 1.0, 2 * steps + 1), -MOST_LAG_S, MOST_LAG_S)
        left = np.array([_off(pairs(lane, raw, reference, replace(begin, lag_s=float(lag))), limit) for lag in lags])
        centre, reach, steps = _lowest(lags, left), reach / steps, 4
    return replace(begin, lag_s=centre)


def _off(found: Pairs, limit: float) -> float:
    """Return the mean square of what a line leaves, no distance counting more than the limit."""
    line = line_through(found)
    if line is None:
        return limit**2
    distance = np.abs(found.value - line.scale * found.raw - line.offset)
    return float(np.mean(np.minimum(distance, limit) ** 2))


def _lowest(at: Floats, left: Floats) -> float:
    """Return where a parabola through the lowest point and its neighbours is lowest."""
    best = int(left.argmin())
    if not 0 < best < len(at) - 1:
        return float(at[best])
    before, here, after = left[best - 1 : best + 2].tolist()
    bend = before - 2 * here + after
    if at[best + 1] <= at[best] or at[best] <= at[best - 1]:
        return float(at[best])
    return float(at[best] + (at[best] - at[best - 1]) * (0.5 * (before - after) / bend if bend > 0 else 0.0))
