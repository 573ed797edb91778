from __future__ import annotations

import pytest

from underdash.contract.pages import Scale
from underdash.contract.signals import Age
from underdash.display.elements import Figure, Picture
from underdash.display.figure import FigurePart, FigureSpot, size_for
from underdash.display.fonts import Fonts
from underdash.display.palettes import DAY


def figure(digits: str, sign: str = "", mark: str = "", decimals: int = 2) -> Figure:
    return Figure(digits, sign, mark, "bar", Age.FRESH, True, decimals)


@pytest.fixture
def part() -> FigurePart:
    return FigurePart(FigureSpot(120.0, 114.0, 60), DAY, Fonts())


def test_digits_are_centred_whatever_hangs_beside_them(part: FigurePart) -> None:
    plain, signed, marked = (part.cells(f)[2:] for f in (figure("0.72"), figure("0.72", "-"), figure("0.72", "", ">")))
    assert plain == signed == marked
    left, right = plain[0][1][0], plain[-1][1][2]
    assert (left + right) / 2 == pytest.approx(120.0, abs=1.5)


def test_only_the_characters_that_changed_are_painted(part: FigurePart) -> None:
    cells = part.cells(figure("0.72", "+"))
    boxes = part.boxes(Picture(figure=figure("0.72", "+")), Picture(figure=figure("0.73", "+")))
    assert boxes == [cells[-1][1]]


def test_a_change_of_age_repaints_the_whole_figure(part: FigurePart) -> None:
    late = Figure("0.72", "+", "", "bar", Age.LATE, True, 2)
    boxes = part.boxes(Picture(figure=figure("0.72", "+")), Picture(figure=late))
    assert len(boxes) == 1


def test_the_size_follows_from_the_scale_and_not_from_the_moment() -> None:
    scale = Scale(-800.0, 1600.0, 0.0)
    sizes = {size_for(figure(d, decimals=0), scale, 72, (85.0, 88.0)) for d in ("7", "720", "1600")}
    assert len(sizes) == 1


@pytest.mark.parametrize("digits", ["0.72", "1013", "1013.2", "123456"])
def test_any_value_fits_between_the_bands(digits: str) -> None:
    px = size_for(figure(digits, "-"), None, 72, (85.0, 88.0))
    part = FigurePart(FigureSpot(120.0, 114.0, px), DAY, Fonts())
    cells = part.cells(figure(digits, "-"))
    assert cells[0][1][0] >= 120 - 90
    assert cells[-1][1][2] <= 120 + 90
