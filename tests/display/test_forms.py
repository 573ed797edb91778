"""Round, square, upright and wide panels: each uses the room it has."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from math import cos, hypot, radians
from typing import Any

import pytest

from underdash.contract.pages import Role
from underdash.contract.signals import Age
from underdash.contract.words import Lamp, Words
from underdash.display.elements import Figure, Picture, Row
from underdash.display.fonts import CAP_HEIGHT, Fonts, cap_px
from underdash.display.layout import arrange
from underdash.display.round import Face
from underdash.display.texts import texts_of

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


SHAPES = [Face(240, 240), Face(240, 240, False), Face(320, 240, False), Face(240, 320, False)]
FIGURE = Figure("104", "", "", "°C", Age.FRESH, False, 0)
LAMPS = tuple(Lamp(text, lit, Role.INK, Age.FRESH) for text, lit in (("fan", True), ("heater", False), ("pump", None)))
LEAST_PX = 19
"""Height of digits of 12 minutes of arc where 240 pixels are 32.4 mm and 700 mm away."""


@pytest.mark.parametrize("face", SHAPES)
@pytest.mark.parametrize("lamps", [LAMPS, (Lamp("glow plugs", True, Role.CAUTION, Age.FRESH), *LAMPS)])
def test_lamps_beside_a_figure_can_be_read_and_are_whole(
    boost_picture: Maker, face: Face, lamps: tuple[Lamp, ...]
) -> None:
    picture = Picture(sweep=boost_picture().sweep, figure=FIGURE, title="oil", lamps=lamps)
    layout = arrange(picture, face, FONTS)
    assert len(layout.lamps) == len(lamps)
    assert not any("…" in spot.text for spot in layout.lamps)
    assert min(cap_px(spot.px) for spot in layout.lamps) >= LEAST_PX - 1
    heights = sorted((spot.box[1], spot.box[3]) for spot in layout.lamps)
    assert all(upper[1] <= lower[0] or upper == lower for upper, lower in pairwise(heights))


@pytest.mark.parametrize("face", SHAPES)
@pytest.mark.parametrize("words", ["quiet", "reference assumed"])
@pytest.mark.parametrize("figure", [FIGURE, None])
def test_a_remark_below_rows_can_be_read_and_covers_none(face: Face, words: str, figure: Figure | None) -> None:
    picture = Picture(figure=figure, title="x", rows=ROWS, remark=Words(words, Role.CAUTION))
    texts = texts_of(picture, arrange(picture, face, FONTS), FONTS)
    remarks = [text for text in texts if text.part == "remark"]
    assert " ".join(text.text for text in remarks) == words
    assert min(text.height_px for text in remarks) >= LEAST_PX
    rows = [text for text in texts if text.part == "row"]
    assert len(rows) >= 2
    assert min(text.height_px for text in rows) >= LEAST_PX
    lowest = max(row.box[1] + row.height_px for row in rows)
    assert min(remark.box[1] for remark in remarks) >= lowest


@pytest.mark.parametrize("face", [Face(240, 240, False), Face(128, 128, False), Face(240, 320, False)])
def test_the_lowest_quarter_of_a_panel_with_corners_is_used(boost_picture: Maker, face: Face) -> None:
    picture = boost_picture()
    with_rows = arrange(Picture(sweep=picture.sweep, figure=FIGURE, rows=ROWS), face, FONTS)
    assert max(spot.top for spot in with_rows.rows) > 0.8 * face.height
    strip = arrange(picture, face, FONTS).strip
    assert strip is not None
    assert strip[3] > 0.85 * face.height


def test_a_square_figure_is_larger_than_a_round_one(boost_picture: Maker) -> None:
    square, dial = (arrange(boost_picture(), Face(240, 240, shape), FONTS).figure for shape in (False, True))
    assert square is not None
    assert dial is not None
    assert square.px > 1.2 * dial.px


@pytest.mark.parametrize("face", SHAPES)
@pytest.mark.parametrize("figure", [FIGURE, None])
@pytest.mark.parametrize("count", [1, 2])
def test_rows_and_many_lamps_share_a_page(face: Face, figure: Figure | None, count: int) -> None:
    layout = arrange(Picture(figure=figure, title="x", rows=ROWS[:count], lamps=(*LAMPS, LAMPS[0])), face, FONTS)
    assert len(layout.rows) == count
    assert len(layout.lamps) == 4
    lowest = max(spot.top + spot.px * CAP_HEIGHT for spot in layout.rows)
    beside = face.width > face.height and figure is not None
    assert beside or min(spot.box[1] for spot in layout.lamps) >= lowest - 1


@pytest.mark.parametrize("more", [{"banner": Words("oil hot", Role.WARNING)}, {"lamps": LAMPS}, {}])
@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_rows_keep_clear_of_the_sweep(boost_picture: Maker, more: dict[str, Any], count: int) -> None:
    rows = (*ROWS, ROWS[0])[:count]
    layout = arrange(Picture(sweep=boost_picture().sweep, title="x", rows=rows, **more), Face(240, 240), FONTS)
    for line in layout.lines:
        if line.text in {row.label for row in rows}:
            up = 120.0 - line.top
            assert up < -40.0 or hypot(120.0 - line.x, up) < 100.0, line


def test_rows_that_give_way_to_a_remark_are_told() -> None:
    picture = Picture(figure=FIGURE, rows=ROWS, remark=Words("reference assumed", Role.CAUTION))
    assert arrange(picture, Face(240, 240), FONTS).dropped == ("charge air",)
