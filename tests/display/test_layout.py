from __future__ import annotations

from collections.abc import Callable

import pytest

from underdash.contract.pages import Role
from underdash.contract.signals import Age
from underdash.contract.words import Words
from underdash.display.elements import Figure, Picture, Row
from underdash.display.fonts import CAP_HEIGHT, Fonts
from underdash.display.layout import Layout, arrange
from underdash.display.round import Face

FACE = Face(240, 240)


def rows(count: int) -> tuple[Row, ...]:
    names = ("gearbox oil", "charge air", "coolant", "intake air")
    return tuple(Row(name, "104", "°C", Role.INK, Age.FRESH) for name in names[:count])


def lines_inside(layout: Layout, face: Face, fonts: Fonts) -> bool:
    """Whether every line of text stays on the panel at its upper and at its lower end."""
    for line in layout.lines:
        half = fonts.width(line.weight, line.px, line.text) / 2
        middle = line.x if line.centred else line.x + half
        reach = abs(middle - face.centre[0]) + half
        if reach > face.half_width(line.top, line.top + line.px * CAP_HEIGHT) + 1:
            return False
    return True


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4])
@pytest.mark.parametrize("with_figure", [True, False])
@pytest.mark.parametrize("remark", ["", "reference assumed", "no requests: ignition unknown"])
@pytest.mark.parametrize("face", [FACE, Face(320, 240, False), Face(128, 128, False)])
def test_no_text_leaves_the_panel(count: int, with_figure: bool, remark: str, face: Face) -> None:
    figure = Figure("104", "", "", "°C", Age.FRESH, False, 0) if with_figure else None
    words = Words(remark, Role.CAUTION) if remark else None
    picture = Picture(figure=figure, title="traction battery", rows=rows(count), remark=words)
    fonts = Fonts()
    assert lines_inside(arrange(picture, face, fonts), face, fonts)


@pytest.mark.parametrize("count", [2, 3, 4])
def test_rows_do_not_overlap(count: int) -> None:
    layout = arrange(Picture(rows=rows(count), title="x"), FACE, Fonts())
    tops = [spot.top for spot in layout.rows]
    heights = [spot.px * CAP_HEIGHT for spot in layout.rows]
    assert all(b - a > h for a, b, h in zip(tops, tops[1:], heights, strict=False))


def test_rows_in_the_figures_unit_do_not_repeat_it() -> None:
    figure = Figure("104", "", "", "°C", Age.FRESH, False, 0)
    layout = arrange(Picture(figure=figure, rows=rows(2)), FACE, Fonts())
    assert [line.text for line in layout.lines].count("°C") == 1


def test_a_doubt_takes_the_place_of_the_history(boost_picture: Callable[..., Picture]) -> None:
    assert arrange(boost_picture(), FACE, Fonts()).strip is not None
    assert arrange(boost_picture(remark="reference assumed"), FACE, Fonts()).strip is None


def test_what_no_size_fits_is_cut_short() -> None:
    picture = Picture(title="x", remark=Words("a sentence that goes on and on and never ends well", Role.SOFT))
    layout = arrange(picture, FACE, Fonts())
    assert any(line.text.endswith("…") for line in layout.lines)
