"""Scales and offsets as makers choose them, weighed against what a recording shows.

A maker writes 0.01 or 1/128, not 0.010034. Where such a value lies within the error of a fitted line it is much
likelier than the fitted one, the more so where the offset is one that makers choose too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, inf, log, pi, sqrt

from .fitting import MOST_WORTH, Line

SCALES = {
    1.0: 0.20, 0.1: 0.15, 0.01: 0.15, 0.5: 0.08, 0.001: 0.04, 0.05: 0.05, 0.2: 0.02, 0.02: 0.03, 0.25: 0.04,
    0.125: 0.03, 0.0625: 0.03, 0.03125: 0.02, 1 / 64: 0.02, 1 / 128: 0.02, 1 / 256: 0.02, 0.005: 0.02, 0.002: 0.01,
    2.0: 0.02, 4.0: 0.01, 5.0: 0.02, 10.0: 0.03, 100.0: 0.01, 0.4: 0.02, 0.75: 0.01, 100 / 255: 0.02, 100 / 1023: 0.005,
    0.025: 0.01, 0.3: 0.005, 1 / 512: 0.005, 1 / 1024: 0.005, 0.0001: 0.01, 0.8: 0.005, 0.04: 0.005,
    0.03: 0.005, 0.06: 0.003, 0.6: 0.003, 0.15: 0.003, 0.015: 0.003, 3.0: 0.003, 20.0: 0.003, 50.0: 0.003,
    8.0: 0.005, 16.0: 0.005, 32.0: 0.005,
}  # fmt: skip
"""How often makers choose a scale (our guess from the trade's habit; only the order matters)."""

NONE = 0.6
"""How often makers choose no offset."""

COLD = {-40.0: 0.08, -50.0: 0.02, -30.0: 0.005, -100.0: 0.01, -273.0: 0.005, -48.0: 0.003, -64.0: 0.003}
"""How often they choose one for temperatures, which begin below 0."""

TEMPERATURES = ("degC", "degF", "K")
"""Units of temperatures."""

ANY_SCALE, ANY_OFFSET = 0.1, 0.15
"""How often they choose neither."""

ROUND = {100.0: 0.04, 50.0: 0.02, 10.0: 0.04, 5.0: 0.015, 1.0: 0.02}
"""How often they choose another multiple of a round number, each multiple alike (our guess; only the order matters)."""

HALF_RANGE = 0.05
"""How often the offset takes away half of what a field can hold."""

FALLING = 0.05
"""How often a number falls while its quantity rises, beside the other way."""

OUT = 0.02
"""What an instrument may be out by: a speedometer beside satellites, tyres that are worn (common practice)."""

EXACT = 0.5
"""How often a reference is not out at all, being the same number in another frame."""

FINEST = 5e-4
"""No fit is trusted to be better than this part of the scale."""

DECADES = 6.0
"""Decades over which a scale that is not plain may lie."""


@dataclass(frozen=True)
class Spelling:
    """A scale and an offset.

    Attributes:
        scale, offset: to be written down.
        plain: whether the scale is a maker's, rather than the fitted one.
        plain_offset: whether the offset is.
        bonus: how much likelier the fitted line is with what makers choose than with just any numbers, in nats.
    """

    scale: float
    offset: float
    plain: bool
    plain_offset: bool
    bonus: float


def spelling(line: Line, bits: int, unit: str = "", apart: int = 1) -> Spelling:
    """Return the likeliest scale and offset of a field.

    Args:
        line: what was fitted.
        bits: the field's length; an offset may take half its range away.
        unit: of the quantity.
        apart: by how much its raw numbers differ at least; more than 1 where its lowest bits are never used.
    """
    sign = -1.0 if line.scale < 0 else 1.0
    tempered = sqrt(max(1.0, line.worth / MOST_WORTH))
    line = replace(line, scale_error=line.scale_error * tempered, middle_error=line.middle_error * tempered)
    error = max(line.scale_error, FINEST * abs(line.scale))
    any_scale = log(ANY_SCALE) - log(abs(line.scale) * DECADES * log(10))
    scales = [(any_scale, line.scale, False)]
    for size, weight in SCALES.items():
        if abs(size / abs(line.scale) - 1.0) < 6 * (error / abs(line.scale) + OUT):
            scales.append((log(weight * (1.0 if sign > 0 else FALLING)), sign * size, True))
    width = max(20 * line.spread, 2 * abs(line.middle), abs(line.scale) * 2**bits)
    spelled = []
    for prior, scale, plain in scales:
        slope = _apart(line.scale - scale, error, OUT * scale) if plain else 0.0
        free = Spelling(scale, line.middle - scale * line.mean, plain, False, 0.0)
        spelled.append((prior + slope + log(ANY_OFFSET / width), free))
        chosen_by = _offsets(scale, bits, unit) + (_round_offsets(free.offset, width) if plain else [])
        for offset, weight in chosen_by:
            chosen = scale if plain or line.mean == 0 else (line.middle - offset) / line.mean
            likely = _likely(line, error, (scale, offset), plain, apart)
            spelled.append((prior + log(weight) + likely, Spelling(chosen, offset, plain, True, 0.0)))
    best = max(one for one, _ in spelled)
    total = best + log(sum(exp(one - best) for one, _ in spelled))
    chosen_one = max(spelled, key=lambda one: one[0])[1]
    return replace(chosen_one, bonus=total - any_scale - log(ANY_OFFSET / width))


def _offsets(scale: float, bits: int, unit: str) -> list[tuple[float, float]]:
    """Return the offsets that makers choose, with how often; half a field's range is among them."""
    cold = COLD.items() if unit in TEMPERATURES else ()
    return [(0.0, NONE), *cold, (-scale * 2 ** (bits - 1), HALF_RANGE)]


def _round_offsets(fitted: float, width: float) -> list[tuple[float, float]]:
    """Return the round numbers nearest to a fitted offset, with how often makers choose each of all within `width`."""
    near = ((round(fitted / step) * step, weight * step / width) for step, weight in ROUND.items() if step <= width)
    return [(offset, weight) for offset, weight in near if offset]


def _likely(line: Line, error: float, said: tuple[float, float], plain: bool, apart: int) -> float:
    """Logarithm of the density of a fitted line if this scale, where it is plain, and this offset are right."""
    scale, offset = said
    # rounding down instead of to the nearest moves a line by half a step
    middle_error = sqrt(line.middle_error**2 + (scale * apart) ** 2 / 12)
    value = scale * line.mean + offset
    away = line.middle - value
    if not plain:
        return _apart(away, sqrt(middle_error**2 + (line.mean * error) ** 2), OUT * value)
    both, errors = (line.scale - scale, away), (error, middle_error)
    return max(
        log(EXACT) + _both(both, errors, (0.0, 0.0)),
        log(1 - EXACT) + _both(both, errors, (OUT * scale, OUT * value)),
    )


def _apart(away: float, error: float, out: float) -> float:
    """Logarithm of the density of one distance, the reference being exact or out by `out`."""
    return max(
        log(share) - 0.5 * away**2 / variance - 0.5 * log(2 * pi * variance)
        for share, variance in ((EXACT, error**2), (1 - EXACT, error**2 + out**2))
    )


def _both(away: tuple[float, float], errors: tuple[float, float], out: tuple[float, float]) -> float:
    """Logarithm of the density of two distances that share what the reference is out by."""
    first, second = errors[0] ** 2 + out[0] ** 2, errors[1] ** 2 + out[1] ** 2
    shared = out[0] * out[1]
    whole = first * second - shared**2
    if whole <= 0:
        return -inf
    square = (second * away[0] ** 2 - 2 * shared * away[0] * away[1] + first * away[1] ** 2) / whole
    return -0.5 * square - 0.5 * log(whole) - log(2 * pi)
