from __future__ import annotations

from itertools import pairwise
from math import hypot

import pytest

from underdash.contract.pages import Role, Scale
from underdash.contract.signals import Age
from underdash.display.elements import Figure, Picture, Row, Sweep
from underdash.display.fonts import Fonts, cap_px
from underdash.display.layout import arrange
from underdash.display.palettes import DAY
from underdash.display.round import Face
from underdash.display.rows import RowsPart, RowSpot


def test_only_the_row_that_changed_is_painted() -> None:
    part = RowsPart((RowSpot(190, 100, 25), RowSpot(190, 130, 25)), DAY, Fonts())
    first, second = Row("a", "91", "°C", Role.INK, Age.FRESH), Row("b", "38", "°C", Role.INK, Age.FRESH)
    later = Row("b", "138", "°C", Role.CAUTION, Age.FRESH)
    boxes = part.boxes(Picture(rows=(first, second)), Picture(rows=(first, later)))
    assert len(boxes) == 1
    left, top, right, _ = boxes[0]
    assert top == 130
    assert right == 190
    assert left < 190 - 3 * 14


def _page(count: int, *, figure: bool = True) -> Picture:
    shown = Figure("3400", "", "", "rpm", Age.FRESH, False, 0) if figure else None
    rows = tuple(Row(f"label {n}", "123.4", "km/h", Role.INK, Age.FRESH) for n in range(count))
    return Picture(figure=shown, title="values", rows=rows)


SHAPES = [(240, 240, True), (128, 128, True), (480, 480, False), (320, 240, False), (240, 320, False), (160, 80, False)]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("figure", [True, False])
@pytest.mark.parametrize("least", [None, 12, 19, 24, 40])
def test_rows_that_could_not_be_read_are_left_out_from_the_end_and_none_overlap(
    shape: tuple[int, int, bool], figure: bool, least: int | None
) -> None:
    picture, face = _page(4, figure=figure), Face(*shape, least)
    layout = arrange(picture, face, Fonts())
    shown = len(layout.rows)
    assert shown >= 1
    assert layout.dropped == tuple(row.label for row in picture.rows[shown:])
    if shown > 1:
        assert all(cap_px(spot.px) >= face.readable_px for spot in layout.rows)
    for above, below in pairwise(layout.rows):
        assert above.top + cap_px(above.px) < below.top
    said = [line.text for line in layout.lines if "not shown" in line.text]
    assert said == ([f"+{4 - shown} not shown"] if layout.dropped else [])


def test_a_panel_far_away_has_fewer_and_larger_rows() -> None:
    near, far = (arrange(_page(3), Face(240, 240, True, least), Fonts()) for least in (None, 28))
    assert (len(near.rows), near.dropped) == (3, ())
    assert (len(far.rows), far.dropped) == (1, ("label 1", "label 2"))
    assert far.rows[0].px > near.rows[0].px


def test_how_many_rows_there_are_does_not_hang_on_their_values() -> None:
    face = Face(240, 240, True, 22)
    wide = _page(3)._replace(rows=tuple(row._replace(text="-12345.6") for row in _page(3).rows))
    assert len(arrange(wide, face, Fonts()).rows) == len(arrange(_page(3), face, Fonts()).rows)


@pytest.mark.parametrize("digits", ["3400", "16384", "123456"])
def test_a_unit_beside_the_digits_keeps_clear_of_the_sweep(digits: str) -> None:
    picture = _page(2)
    assert picture.figure is not None
    scale = Scale(0.0, 7000.0, 0.0)
    sweep = Sweep(3400.0, scale, None, Age.FRESH)
    picture = picture._replace(sweep=sweep, figure=picture.figure._replace(digits=digits))
    fonts = Fonts()
    layout = arrange(picture, Face(240, 240), fonts)
    assert layout.ring is not None
    (unit,) = [line for line in layout.lines if line.text == "rpm"]
    corner = unit.x + fonts.width(unit.weight, unit.px, "rpm") - 120.0, unit.top - 120.0
    assert hypot(*corner) <= layout.ring.clear + 1.0
