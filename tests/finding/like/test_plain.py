from __future__ import annotations

import numpy as np
import pytest

from underdash.finding.like.fitting import Line, Pairs, line_through
from underdash.finding.like.plain import spelling


def line(scale: float, offset: float, noise: float = 0.3, low: float = 0.0, high: float = 4000.0) -> Line:
    chance = np.random.default_rng(1)
    raw = np.rint(chance.uniform(low, high, 400))
    found = line_through(Pairs(raw, raw, scale * raw + offset + noise * chance.standard_normal(400)))
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("scale", "offset", "unit", "told"),
    [
        (0.01003, 0.05, "km/h", (0.01, 0.0)),
        (0.0098, 0.0, "km/h", (0.01, 0.0)),  # a speedometer is 2 % out
        (1 / 128, 0.0, "km/h", (1 / 128, 0.0)),
        (0.1, -40.1, "degC", (0.1, -40.0)),
        (0.0314159, 0.0, "rpm", (0.03125, 0.0)),
        (0.029962, 0.0, "km/h", (0.03, 0.0)),  # and not 1/32
        (32.04, 0.0, "rpm", (32.0, 0.0)),
        (1.0, -59.96, "", (1.0, -60.0)),  # a round number of which no list knows
        (0.1, -100.02, "kPa", (0.1, -100.0)),
    ],
)
def test_a_maker_s_number_within_the_error_is_told(
    scale: float, offset: float, unit: str, told: tuple[float, float]
) -> None:
    found = spelling(line(scale, offset), 12, unit)
    assert (found.scale, found.offset, found.plain) == (*told, True)
    assert found.bonus > 0


def test_a_number_no_maker_writes_is_told_as_fitted() -> None:
    found = spelling(line(0.0443, 13.7, noise=0.001), 12)
    assert not found.plain
    assert found.scale == pytest.approx(0.0443, rel=1e-3)
    assert found.offset == pytest.approx(13.7, abs=0.01)


def test_half_a_field_s_range_may_be_taken_away() -> None:
    found = spelling(line(0.1, -3276.8, noise=0.05, low=30_000, high=36_000), 16)
    assert found.scale == 0.1
    assert found.offset == pytest.approx(-3276.8)


def test_wrong_pairs_do_not_turn_the_line() -> None:
    chance = np.random.default_rng(2)
    raw = chance.uniform(100, 140, 100)
    value = 0.1 * raw
    raw[:8], value[50:52] = 0.0, 99.0
    found = line_through(Pairs(raw, raw, value))
    assert found is not None
    assert found.scale == pytest.approx(0.1)
    assert found.offset == pytest.approx(0.0, abs=1e-6)


def test_no_line_goes_through_what_stands_still() -> None:
    still, moving = np.ones(10), np.arange(10.0)
    assert line_through(Pairs(moving, still, moving)) is None
    assert line_through(Pairs(moving, moving, still)) is None
    assert line_through(Pairs(moving[:2], moving[:2], moving[:2])) is None
