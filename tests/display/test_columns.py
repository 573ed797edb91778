"""Columns, lamps and lists: what a page may say, what is painted, what self-drawing panels are told."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest
from PIL import ImageChops

from underdash.contract.content import Share, Shown, Upright
from underdash.contract.errors import UnderdashError
from underdash.contract.pages import Canvas, Role, Scale, Zone
from underdash.contract.signals import Age, Quality, Reading
from underdash.contract.words import Lamp, Words
from underdash.display.content import content_of
from underdash.display.elements import Picture
from underdash.display.fonts import Fonts
from underdash.display.kit import Painter
from underdash.display.layout import arrange
from underdash.display.palettes import DAY
from underdash.display.recorder import Recorder
from underdash.display.round import Face

SCALE = Scale(0.0, 8.0, 0.0, (Zone(5.0, 8.0, Role.WARNING),))
FACES = [Face(240, 240), Face(320, 240, False), Face(240, 320, False), Face(128, 128, False), Face(480, 128, False)]


def reading(shown: float | None, age: Age = Age.FRESH) -> Reading:
    return Reading("x", shown, shown, "°", 1, age, 0.0, Quality.GOOD, "test")


def drawn(draw: Callable[[Canvas], None]) -> Picture:
    canvas = Recorder((240, 240))
    draw(canvas)
    return canvas.picture()


def knock(*values: float | None, peak: float | None = None) -> Picture:
    def draw(canvas: Canvas) -> None:
        canvas.title("knock")
        for number, value in enumerate(values):
            canvas.column(f"{number + 1}", reading(value, Age.GONE if value is None else Age.FRESH), SCALE, peak=peak)

    return drawn(draw)


def test_a_late_column_steps_back() -> None:
    face = Face(240, 240)

    def colours(age: Age) -> set[tuple[int, int, int]]:
        picture = drawn(lambda canvas: canvas.column("1", reading(7.0, age), SCALE))
        (spot,) = arrange(picture, face, Fonts()).columns
        image = Painter(face).paint(picture)[0]
        band = [round(side) for side in spot.band]
        middle = (spot.box[1] + spot.box[3]) // 2
        crop = image.crop((band[0] + 2, middle, band[1] - 2, middle + 8)).tobytes()
        text = image.crop((0, spot.top, face.width, spot.box[1])).tobytes()
        return {(part[i], part[i + 1], part[i + 2]) for part in (crop, text) for i in range(0, len(part), 3)}

    assert DAY.warning in colours(Age.FRESH)
    assert DAY.warning not in colours(Age.LATE)
    assert DAY.soft in colours(Age.LATE)


@pytest.mark.parametrize("face", FACES)
def test_four_columns_stand_side_by_side_on_the_panel(face: Face) -> None:
    spots = arrange(knock(1.0, 2.0, 3.0, 4.0), face, Fonts()).columns
    assert len(spots) == 4
    assert all(0 <= s.box[0] < s.box[2] <= face.width and 0 <= s.box[1] < s.box[3] <= face.height for s in spots)
    assert all(a.box[2] < b.box[0] for a, b in pairwise(spots))


def test_a_column_grows_with_its_value_and_warns_in_its_zone() -> None:
    face = Face(240, 240)
    picture = knock(1.0, 7.0)
    low, high = arrange(picture, face, Fonts()).columns
    image = Painter(face).paint(picture)[0]
    heights = []
    for spot, colour in ((low, DAY.accent), (high, DAY.warning)):
        x = round((spot.band[0] + spot.band[1]) / 2)
        heights.append(sum(image.getpixel((x, y)) == colour for y in range(spot.box[1], spot.box[3])))
    assert 0 < heights[0] < heights[1] / 4


def test_columns_painted_bit_by_bit_are_those_painted_at_once() -> None:
    face = Face(240, 240)
    painter = Painter(face)
    for picture in (knock(1.0, 2.0, peak=3.0), knock(1.1, 2.0, peak=3.0), knock(9.0, -1.0), knock(None, 5.5, peak=6.0)):
        image, _ = painter.paint(picture)
        assert ImageChops.difference(image, Painter(face).paint(picture)[0]).getbbox() is None


def test_one_column_that_moves_leaves_the_others_alone() -> None:
    painter = Painter(Face(240, 240))
    painter.paint(knock(1.0, 2.0, 3.0))
    _, boxes = painter.paint(knock(1.0, 2.0, 3.5))
    assert boxes
    assert min(box[0] for box in boxes) > 120


def test_a_lamp_is_lit_dark_or_unknown() -> None:
    def draw(canvas: Canvas) -> None:
        canvas.lamp("fan", True, Role.CAUTION)
        canvas.lamp("pump", False)
        canvas.lamp("heater", reading(None, Age.GONE))

    picture = drawn(draw)
    assert [lamp.lit for lamp in picture.lamps] == [True, False, None]
    fan, pump, heater = arrange(picture, Face(240, 240), Fonts()).lamps
    assert heater.text == "heater --"
    image = Painter(Face(240, 240)).paint(picture)[0]
    assert [image.getpixel((s.box[0] + 12, s.box[1] + 3)) == DAY.caution for s in (fan, pump, heater)] == [
        True,
        False,
        False,
    ]


@pytest.mark.parametrize("face", FACES)
def test_six_lines_of_a_list_stand_one_under_the_other(face: Face) -> None:
    picture = drawn(lambda canvas: canvas.list(tuple((f"line {n}", Role.INK) for n in range(6))))
    tops = [line.top for line in arrange(picture, face, Fonts()).lines if line.text.startswith("line")]
    assert len(tops) == 6
    assert tops == sorted(set(tops))
    assert 0 <= tops[0] <= tops[-1] < face.height


def test_more_than_a_glance_is_refused() -> None:
    with pytest.raises(UnderdashError, match="5 columns; a page holds 4"):
        knock(1.0, 1.0, 1.0, 1.0, 1.0)
    with pytest.raises(UnderdashError, match="7 lines; a page holds 6"):
        drawn(lambda canvas: canvas.list((("x", Role.INK),) * 7))

    def both(canvas: Canvas) -> None:
        canvas.rows((("oil", reading(1.0), Role.INK),))
        canvas.column("1", reading(1.0), SCALE)

    with pytest.raises(UnderdashError, match="rows beside columns"):
        drawn(both)


def test_panels_that_draw_by_themselves_are_told_of_them() -> None:
    def draw(canvas: Canvas) -> None:
        canvas.column("1", reading(6.0), SCALE, peak=8.0, average=2.0)
        canvas.lamp("fan", False, Role.CAUTION)

    content = content_of("x", drawn(draw))
    shown = Shown("6.0", "°", Role.WARNING, Age.FRESH, "1")
    assert content.columns == (Upright(shown, Share(0.75, 0.0, 1.0, Role.WARNING, 0.25)),)
    assert content.lamps == (Lamp("fan", False, Role.CAUTION),)
    said = content_of("x", drawn(lambda canvas: canvas.list((("all is well", Role.SOFT),))))
    assert said.lines == (Words("all is well", Role.SOFT),)
