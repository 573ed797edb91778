"""The promise: outside the boxes nothing changed, and what is painted bit by bit equals what is painted at once."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import pytest
from PIL import Image, ImageChops

from underdash.contract.pages import Canvas, Page, Role
from underdash.contract.signals import Age, Quality, Reading, Snapshot
from underdash.contract.words import Words
from underdash.display.elements import Picture
from underdash.display.kit import Painter, draw_page
from underdash.display.palettes import DAY, night
from underdash.display.recorder import record
from underdash.display.round import Box, Face

Maker = Callable[..., Picture]
SIZES = [((240, 240), True), ((320, 240), False), ((128, 128), False)]


def at_once(picture: Picture, face: Face) -> Image.Image:
    return Painter(face).paint(picture)[0]


def differs_outside(before: Image.Image, after: Image.Image, boxes: list[Box]) -> bool:
    difference = ImageChops.difference(before, after)
    for box in boxes:
        difference.paste((0, 0, 0), box)
    return difference.getbbox() is not None


def drive(maker: Maker, seed: int, steps: int = 50) -> list[Picture]:
    """A random walk with everything that can move: value, peak, age, quality, history, hold."""
    random = Random(seed)
    value, pictures = 0.3, []
    for step in range(steps):
        value = min(max(value + random.uniform(-0.25, 0.25), -0.9), 1.7)
        pictures.append(
            maker(
                value,
                peak=random.choice([None, -1.0, 0.4, 1.1, value]),
                now=100.0 + step * 0.2,
                age=random.choice([Age.FRESH] * 8 + [Age.LATE, Age.GONE]),
                quality=random.choice([Quality.GOOD] * 8 + [Quality.ABOVE]),
                remark=random.choice([""] * 8 + ["reference assumed"]),
                hold=random.choice([0.0, 0.0, 0.0, 0.3, 0.8, 1.0]),
            )
        )
    return pictures


@pytest.mark.parametrize(("size", "is_round"), SIZES)
@pytest.mark.parametrize("seed", [1, 2])
def test_the_boxes_cover_every_pixel_that_changed(
    boost_picture: Maker, size: tuple[int, int], is_round: bool, seed: int
) -> None:
    painter = Painter(Face(*size, is_round))
    shown = Image.new("RGB", size)
    for picture in drive(boost_picture, seed):
        image, boxes = painter.paint(picture)
        assert not differs_outside(shown, image, boxes)
        for box in boxes:
            assert 0 <= box[0] < box[2] <= size[0]
            assert 0 <= box[1] < box[3] <= size[1]
        shown = image.copy()


@pytest.mark.parametrize(("size", "is_round"), SIZES)
def test_painting_bit_by_bit_gives_what_painting_at_once_gives(
    boost_picture: Maker, size: tuple[int, int], is_round: bool
) -> None:
    face = Face(*size, is_round)
    painter = Painter(face)
    for picture in drive(boost_picture, 3, 30):
        image, _ = painter.paint(picture)
        assert ImageChops.difference(image, at_once(picture, face)).getbbox() is None


def test_the_same_picture_twice_gives_no_boxes(boost_picture: Maker) -> None:
    painter = Painter(Face(240, 240))
    assert painter.paint(boost_picture())[1] == [(0, 0, 240, 240)]
    assert painter.paint(boost_picture())[1] == []


def test_a_small_change_is_a_small_box(boost_picture: Maker) -> None:
    painter = Painter(Face(240, 240))
    painter.paint(boost_picture(0.72))
    _, boxes = painter.paint(boost_picture(0.73))
    assert boxes
    assert sum((b[2] - b[0]) * (b[3] - b[1]) for b in boxes) < 240 * 240 / 15


def test_drawing_is_the_same_every_time(boost_picture: Maker) -> None:
    images = {at_once(boost_picture(-0.41), Face(240, 240)).tobytes() for _ in range(3)}
    assert len(images) == 1


def test_a_change_of_palette_repaints(boost_picture: Maker) -> None:
    painter = Painter(Face(240, 240), DAY)
    day = painter.paint(boost_picture())[0].copy()
    painter.use(night(32))
    image, boxes = painter.paint(boost_picture())
    assert not differs_outside(day, image, boxes)
    assert image.getpixel((120, 200)) == (0, 0, 0)


def test_a_forgotten_panel_gets_everything_again(boost_picture: Maker) -> None:
    painter = Painter(Face(240, 240))
    painter.paint(boost_picture())
    painter.forget()
    assert painter.paint(boost_picture())[1] == [(0, 0, 240, 240)]


def test_nothing_is_lit_outside_a_round_panel(boost_picture: Maker) -> None:
    face = Face(240, 240)
    mask = face.mask()
    assert mask is not None
    alert = Words("gearbox oil hot", Role.WARNING)
    for picture in (boost_picture(1.5, remark="reference assumed"), Picture(banner=alert, title="x")):
        lit = at_once(picture, face)
        lit.paste((0, 0, 0), (0, 0), mask.point([0 if v == 0 else 255 for v in range(256)]))
        assert lit.getbbox() is None


def test_the_sign_does_not_move_the_digits(boost_picture: Maker) -> None:
    face = Face(240, 240)
    box = 50, 90, 190, 140
    plus, minus = (at_once(boost_picture(v), face).crop(box) for v in (0.41, -0.41))
    assert ImageChops.difference(plus, minus).getbbox() is None or plus.tobytes() == minus.tobytes()


def test_nothing_of_the_band_comes_near_the_digits(boost_picture: Maker) -> None:
    """Everything of the sweep lies outside the clear circle, also a peak near 3 o'clock."""
    face = Face(240, 240)
    with_peak, without = (at_once(boost_picture(0.2, peak=peak), face) for peak in (1.25, None))
    box = ImageChops.difference(with_peak, without).getbbox()
    assert box is not None
    assert box[0] > 120 + 92


def test_a_page_is_drawn_for_any_panel_size() -> None:
    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.title(f"{canvas.width} by {canvas.height}")

    for size in ((240, 240), (320, 240), (128, 128), (64, 48), (480, 480)):
        image = draw_page(Page("p", "p", draw, ()), Snapshot(0.0, {}), size=size, round=size[0] == size[1])
        assert image.size == size
        assert image.getbbox() is not None


def test_rows_move_within_their_boxes() -> None:
    def page(shift: float) -> Picture:
        def draw(canvas: Canvas, snapshot: Snapshot) -> None:
            rows = tuple(
                (name, Reading(name, v, v, "°C", 0, Age.FRESH, 0.1, Quality.GOOD, ""), Role.INK)
                for name, v in (("coolant", 91 + shift), ("charge air", 38 - shift), ("intake", 99.0 + shift))
            )
            canvas.figure(Reading("m", 104.0, 104.0, "°C", 0, Age.FRESH, 0.1, Quality.GOOD, ""))
            canvas.rows(rows)

        return record(Page("p", "p", draw, ()), Snapshot(0.0, {}), (240, 240))

    face = Face(240, 240)
    painter = Painter(face)
    before = painter.paint(page(0.0))[0].copy()
    for shift in (1.0, 2.0, -60.0, 950.0, 0.0):
        image, boxes = painter.paint(page(shift))
        assert not differs_outside(before, image, boxes)
        assert ImageChops.difference(image, at_once(page(shift), face)).getbbox() is None
        before = image.copy()


def test_an_alert_takes_the_foot_from_the_history(boost_picture: Maker) -> None:
    face = Face(240, 240)
    picture = boost_picture()
    raised = Picture(sweep=picture.sweep, figure=picture.figure, strip=picture.strip, banner=Words("hot", Role.WARNING))
    assert at_once(raised, face).getpixel((120, 230)) == DAY.warning
