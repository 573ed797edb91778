from __future__ import annotations

from dataclasses import replace

import pytest

from underdash.contract.pages import Role, Scale, Zone
from underdash.contract.signals import Age
from underdash.display.elements import Sweep
from underdash.display.sweep import SPAN_DEG, START_DEG, Ring, role_of, steps

angle_of = Ring.around((120.0, 120.0), 1.0).angle_of


def test_the_scale_runs_from_lower_left_to_lower_right(scale: Scale) -> None:
    assert angle_of(scale, scale.low) == START_DEG
    assert angle_of(scale, scale.high) == START_DEG + SPAN_DEG
    assert angle_of(scale, 0.4) == 270.0


def test_a_value_beyond_its_scale_stays_at_the_end(scale: Scale) -> None:
    assert angle_of(scale, 9.0) == angle_of(scale, scale.high)
    assert angle_of(scale, -9.0) == angle_of(scale, scale.low)


@pytest.mark.parametrize(
    ("value", "role"),
    [
        (0.5, Role.ACCENT),
        (0.0, Role.ACCENT),
        (-0.3, Role.SOFT),
        (1.2, Role.CAUTION),
        (1.39, Role.CAUTION),
        (1.4, Role.WARNING),
        (1.6, Role.WARNING),
        (2.0, Role.WARNING),
        (None, Role.SOFT),
    ],
)
def test_the_band_takes_the_role_of_where_its_value_is(scale: Scale, value: float | None, role: Role) -> None:
    assert role_of(Sweep(value, scale, None, Age.FRESH)) is role


def test_a_cold_zone_mutes_the_band() -> None:
    scale = Scale(-20.0, 150.0, -20.0, (Zone(-20.0, 50.0, Role.SOFT),))
    assert role_of(Sweep(30.0, scale, None, Age.FRESH)) is Role.SOFT
    assert role_of(Sweep(90.0, scale, None, Age.FRESH)) is Role.ACCENT


def test_the_rail_has_gaps_at_round_numbers_outside_of_zones(scale: Scale) -> None:
    assert steps(scale) == pytest.approx([-0.5, 0.5, 1.0])
    assert steps(replace(scale, zones=())) == pytest.approx([-0.5, 0.5, 1.0, 1.5])


@pytest.mark.parametrize("scale", [Scale(0.0, 1e-9, 0.0), Scale(-1e6, 1e6, 0.0), Scale(0.0, 23.2, 0.0)])
def test_any_scale_has_a_handful_of_gaps(scale: Scale) -> None:
    assert 1 <= len(steps(scale)) <= 12
