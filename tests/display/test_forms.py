"""Round, square, upright and wide panels: each uses the room it has."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, radians

import pytest

from underdash.contract.content import Words
from underdash.contract.pages import Role
from underdash.contract.signals import Age
from underdash.display.elements import Figure, Picture, Row
from underdash.display.fonts import CAP_HEIGHT, Fonts
from underdash.display.layout import arrange
from underdash.display.round import Face

Maker = Callable[..., Picture]
FONTS = Fonts()
ROWS = tuple(Row(label, "104", "°C", Role.INK, Age.FRESH) for label in ("engine oil", "coolant", "charge air"))


@pytest.mark.parametrize("size", [(320, 240), (160, 128), (480, 320), (480, 128)])
def test_a_wide_panel_has_its_sweep_over_the_whole_width(boost_picture: Maker, size: tuple[int, int]) -> None:
    layout = arrange(boost_picture(), Face(*size, False), FONTS)
    ring = layout.ring
    assert ring is not None
    ends = [ring.centre[0] + ring.rail[1] * cos(radians(angle)) for angle in (ring.start, ring.start + ring.span)]
    assert ends[0] < 0.05 * size[0]
    assert ends[1] > 0.95 * size[0]


def test_a_wide_panel_has_rows_beside_the_figure(boost_picture: Maker) -> None:
    picture = boost_picture()
    layout = arrange(Picture(sweep=picture.sweep, figure=picture.figure, rows=ROWS), Face(320, 240, False), FONTS)
    assert layout.figure is not None
    assert layout.figure.x < 100
    assert all(spot.right > 220 for spot in layout.rows)


def test_an_upright_panel_has_rows_below_the_dial(boost_picture: Maker) -> None:
    picture = boost_picture()
    layout = arrange(Picture(sweep=picture.sweep, figure=picture.figure, rows=ROWS), Face(240, 320, False), FONTS)
    assert all(spot.top > 170 for spot in layout.rows)


def test_a_wide_figure_is_larger_than_a_round_one(boost_picture: Maker) -> None:
    wide, dial = (arrange(boost_picture(), Face(*f), FONTS).figure for f in ((320, 240, False), (240, 240, True)))
    assert wide is not None
    assert dial is not None
    assert wide.px > 1.2 * dial.px


@pytest.mark.parametrize("face", [Face(240, 240), Face(320, 240, False)])
def test_degrees_stand_beside_the_digits_and_other_units_below(face: Face) -> None:
    tops = {}
    for unit in ("°", "bar"):
        layout = arrange(Picture(figure=Figure("18.5", "-", "", unit, Age.FRESH, True, 1)), face, FONTS)
        spot = layout.figure
        assert spot is not None
        (line,) = [line for line in layout.lines if line.text == unit]
        tops[unit] = line.top - spot.y
    assert tops["°"] < 0 < tops["bar"]


@pytest.mark.parametrize("face", [Face(240, 240), Face(320, 240, False), Face(240, 320, False)])
@pytest.mark.parametrize("with_figure", [True, False])
def test_an_alert_covers_no_row(face: Face, with_figure: bool) -> None:
    figure = Figure("104", "", "", "°C", Age.FRESH, False, 0) if with_figure else None
    picture = Picture(figure=figure, title="x", rows=ROWS, banner=Words("gearbox oil hot", Role.WARNING))
    layout = arrange(picture, face, FONTS)
    assert layout.banner_top is not None
    assert layout.rows
    assert all(spot.top + spot.px * CAP_HEIGHT <= layout.banner_top for spot in layout.rows)


def test_labels_of_rows_are_of_one_size_and_not_small(boost_picture: Maker) -> None:
    rows = (Row("hottest", "33", "°C", Role.INK, Age.FRESH), Row("intake air", "-12.5", "kW", Role.INK, Age.FRESH))
    picture = boost_picture()
    layout = arrange(Picture(sweep=picture.sweep, figure=picture.figure, rows=rows), Face(240, 240), FONTS)
    sizes = {line.px for line in layout.lines if line.text in ("hottest", "intake air")}
    assert len(sizes) == 1
    assert min(sizes) >= 14
