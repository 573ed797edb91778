"""The ring that fills while a button is held."""

from __future__ import annotations

import pytest
from PIL import ImageChops

from underdash.contract.pages import Canvas, Page, Role, Scale
from underdash.contract.signals import Snapshot
from underdash.contract.words import Words
from underdash.display.content import content_of
from underdash.display.kit import Painter
from underdash.display.palettes import DAY, Palette, night
from underdash.display.recorder import record
from underdash.display.round import Face
from underdash.testing import snapshot

SIZES = [(240, 240), (128, 128), (160, 128), (320, 240), (240, 320), (480, 480), (128, 64), (800, 480)]


def full(canvas: Canvas, seen: Snapshot) -> None:
    reading = seen.reading("engine.speed")
    canvas.sweep(reading, Scale(0.0, 6000.0, 0.0), peak=5000.0)
    canvas.figure(reading)
    canvas.title("speed")


def said(canvas: Canvas, seen: Snapshot) -> None:
    canvas.sentence("nobody provides it: describe it")


def empty(canvas: Canvas, seen: Snapshot) -> None:
    return None


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("draw", [full, said, empty])
@pytest.mark.parametrize(
    ("face", "palette"), [(True, DAY), (False, DAY), (True, night())], ids=["round", "square", "night"]
)
def test_a_hold_is_seen_on_every_page_and_panel_and_grows(
    draw: object, size: tuple[int, int], face: bool, palette: Palette
) -> None:
    page = Page("p", "P", draw, ())  # type: ignore[arg-type]
    painter = Painter(Face(*size, face), palette)
    pixels = []
    plain = None
    for hold in (0.0, 0.25, 0.5, 0.75, 1.0):
        picture = record(page, snapshot({"engine.speed": 3000.0}, hold=hold), size, Words("hot", Role.WARNING))
        image = painter.paint(picture)[0].copy()
        plain = plain or image
        changed = ImageChops.difference(image, plain).convert("L").point(lambda level: 255 if level else 0)
        pixels.append(changed.histogram()[255])
    assert pixels[0] == 0
    assert pixels == sorted(set(pixels))


def test_a_panel_that_draws_by_itself_is_told_how_far_a_hold_has_come() -> None:
    picture = record(Page("p", "P", empty, ()), snapshot({}, hold=0.5), (240, 240))
    assert content_of("p", picture).hold == 0.5


@pytest.mark.parametrize("size", [(240, 240), (320, 240), (128, 64)], ids=str)
def test_on_a_panel_with_corners_it_keeps_to_the_edge_and_goes_all_the_way_round(size: tuple[int, int]) -> None:
    painter = Painter(Face(*size, False), DAY)
    page = Page("p", "P", empty, ())
    before = painter.paint(record(page, snapshot({}), size))[0].copy()
    after = painter.paint(record(page, snapshot({}, hold=1.0), size))[0].copy()
    changed = ImageChops.difference(before, after).convert("L").point(lambda level: 255 if level else 0)
    width, height = size
    assert all(changed.getpixel(at) for at in [(0, 0), (width - 1, 0), (0, height - 1), (width - 1, height - 1)])
    inner = changed.crop((6, 6, width - 6, height - 6))
    assert inner.getbbox() is None


def test_painting_in_steps_gives_what_painting_at_once_gives() -> None:
    for round_face in (True, False):
        face, page = Face(240, 240, round_face), Page("p", "P", full, ())
        stepped, at_once = Painter(face, DAY), Painter(face, DAY)
        for hold in (0.0, 0.1, 0.37, 0.8, 0.5, 1.0):
            picture = record(page, snapshot({"engine.speed": 3000.0}, hold=hold), (240, 240))
            image = stepped.paint(picture)[0].copy()
        assert ImageChops.difference(image, at_once.paint(picture)[0]).getbbox() is None
