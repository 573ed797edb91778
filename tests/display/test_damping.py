from __future__ import annotations

from math import exp

import pytest

from underdash.contract.pages import Scale
from underdash.contract.signals import Age
from underdash.display.damping import BAND_S, Damping
from underdash.display.elements import Column, Figure, Picture, Sweep

SCALE = Scale(0.0, 100.0, 0.0)


def picture(value: float | None, scale: Scale = SCALE) -> Picture:
    sweep = Sweep(value, scale, 90.0, Age.FRESH)
    return Picture(sweep, Figure("7", "", "", "", Age.FRESH, False, 0), columns=(Column("1", sweep, "7", ""),))


def shown(damping: Damping, value: float | None, now: float, page: str = "p") -> float | None:
    sweep = damping.step(page, picture(value), now).sweep
    assert sweep is not None
    return sweep.value


@pytest.mark.parametrize("fps", [5.0, 25.0, 60.0])
def test_a_jump_is_followed_in_its_time_whatever_the_rate(fps: float) -> None:
    damping = Damping()
    shown(damping, 0.0, 0.0)
    shown(damping, 80.0, 1.0)
    for frame in range(1, int(fps)):
        at = frame / fps
        value = shown(damping, 80.0, 1.0 + at)
        assert value == pytest.approx(80.0 * (1 - exp(-at / BAND_S)), abs=0.5)
    assert shown(damping, 80.0, 3.0) == 80.0


def test_it_stands_still_once_it_has_arrived() -> None:
    damping = Damping()
    shown(damping, 0.0, 0.0)
    values = [shown(damping, 50.0, now) for now in (0.1, 0.2, 1.0, 1.1)]
    assert values[0] == 0.0
    assert 40.0 < (values[1] or 0.0) < 50.0
    assert values[2:] == [50.0, 50.0]


def test_what_appears_or_belongs_to_another_page_is_in_its_place_at_once() -> None:
    damping = Damping()
    assert shown(damping, 40.0, 0.0) == 40.0
    assert shown(damping, 90.0, 0.01, page="q") == 90.0
    assert shown(damping, None, 0.02, page="q") is None
    assert shown(damping, 10.0, 0.03, page="q") == 10.0


def test_another_scale_is_no_jump() -> None:
    damping = Damping()
    damping.step("p", picture(40.0), 0.0)
    sweep = damping.step("p", picture(6.0, Scale(0.0, 10.0, 0.0)), 0.01).sweep
    assert sweep is not None
    assert sweep.value == 6.0


def test_columns_are_damped_and_figures_and_marks_are_not() -> None:
    damping = Damping()
    damping.step("p", picture(0.0), 0.0)
    seen = damping.step("p", picture(100.0), 0.02)
    assert seen.columns[0].sweep.value == 0.0
    assert seen.figure == picture(100.0).figure
    assert seen.sweep is not None
    assert seen.sweep.peak == 90.0
