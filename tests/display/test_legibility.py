"""Angles against a table for 240 pixels on 32.4 mm at 700 mm: 12' is 19 px, 16' 25 px, 20' 31 px, 24' 37 px."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from underdash.display.elements import Picture
from underdash.display.fonts import Fonts, cap_px
from underdash.display.layout import arrange
from underdash.display.legibility import LEAST_ARCMIN, RECOMMENDED_ARCMIN, Viewing, arcmin, least_px, legible
from underdash.display.round import Face


@pytest.mark.parametrize(("angle", "px"), [(12.0, 19), (16.0, 25), (20.0, 31), (24.0, 37)])
def test_a_height_in_pixels_follows_from_an_angle(angle: float, px: int) -> None:
    assert least_px(angle, 32.4, 700.0) in (px, px + 1)
    assert arcmin(px, 32.4, 700.0) == pytest.approx(angle, abs=0.7)


@pytest.mark.parametrize(("distance", "mm"), [(600, 2.09), (700, 2.44), (800, 2.79)])
def test_twelve_minutes_of_arc_in_millimetres(distance: float, mm: float) -> None:
    assert arcmin(mm, 240.0, distance) == pytest.approx(12.0, abs=0.05)


def test_small_text_far_away_cannot_be_read() -> None:
    assert legible(19, 32.4, 700)
    assert not legible(19, 32.4, 1200)
    assert not legible(19, 20.0, 700)


@pytest.mark.parametrize("shown", [0.72, -0.41])
def test_the_main_figure_fills_the_recommended_angle(boost_picture: Callable[..., Picture], shown: float) -> None:
    layout = arrange(boost_picture(shown), Face(240, 240), Fonts())
    assert layout.figure is not None
    assert legible(cap_px(layout.figure.px), 32.4, 700, least_arcmin=RECOMMENDED_ARCMIN)


def test_a_doubt_fills_the_least_angle(boost_picture: Callable[..., Picture]) -> None:
    layout = arrange(boost_picture(remark="reference 24 min old"), Face(240, 240), Fonts())
    lines = [line for line in layout.lines if line.role == "caution"]
    assert [line.text for line in lines] == ["reference", "24 min old"]
    for line in lines:
        # the least angle is 19 px in the table, which rounds 18.1
        assert arcmin(cap_px(line.px), 32.4, 700) >= LEAST_ARCMIN


def test_what_a_panel_would_have_to_be_is_told() -> None:
    viewing = Viewing(32.4, 700.0)
    across, away = viewing.needed(19, 240, 16.0)
    assert Viewing(across, 700.0).angle(19, 240) == pytest.approx(16.0)
    assert Viewing(32.4, away).angle(19, 240) == pytest.approx(16.0, rel=1e-4)
