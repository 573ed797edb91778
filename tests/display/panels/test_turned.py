from __future__ import annotations

from collections.abc import Callable

import pytest
from PIL import Image, ImageChops, ImageDraw, ImageStat

from underdash.display.elements import Picture
from underdash.display.kit import Painter
from underdash.display.panels import Panel
from underdash.display.panels.picture import PicturePanel
from underdash.display.panels.turned import TurnedPanel
from underdash.display.round import Face


def whole(image: Image.Image) -> list[tuple[int, int, int, int]]:
    return [(0, 0, *image.size)]


@pytest.fixture
def arrow() -> Image.Image:
    image = Image.new("RGB", (240, 240))
    ImageDraw.Draw(image).polygon([(120, 10), (150, 80), (60, 60)], fill=(200, 100, 50))
    return image


@pytest.mark.parametrize(
    ("angle", "move"),
    [
        (90.0, Image.Transpose.ROTATE_270),
        (180.0, Image.Transpose.ROTATE_180),
        (-90.0, Image.Transpose.ROTATE_90),
        (270.0, Image.Transpose.ROTATE_90),
    ],
)
def test_right_angles_are_exact(arrow: Image.Image, angle: float, move: Image.Transpose) -> None:
    inner = PicturePanel()
    panel: Panel = TurnedPanel(inner, angle)
    panel.show(arrow, whole(arrow))
    assert ImageChops.difference(inner.seen(), arrow.transpose(move)).getbbox() is None


def test_any_angle_turns_clockwise_about_the_middle(arrow: Image.Image) -> None:
    inner = PicturePanel()
    TurnedPanel(inner, 17.0).show(arrow, whole(arrow))
    expected = arrow.rotate(-17.0, Image.Resampling.BICUBIC)
    assert max(ImageStat.Stat(ImageChops.difference(inner.seen(), expected)).mean) < 1.0


@pytest.mark.parametrize("angle", [0.0, 7.5, 90.0, 181.0])
def test_turning_only_what_changed_gives_what_turning_everything_gives(
    boost_picture: Callable[..., Picture], angle: float
) -> None:
    inner, painter = PicturePanel(), Painter(Face(240, 240))
    panel = TurnedPanel(inner, angle)
    for value in (0.1, 0.15, 0.9, -0.4, 1.5):
        image, boxes = painter.paint(boost_picture(value))
        panel.show(image, boxes)
        fresh = PicturePanel()
        TurnedPanel(fresh, angle).show(image, whole(image))
        assert ImageChops.difference(inner.seen(), fresh.seen()).getbbox() is None


def test_a_panel_on_its_side_is_as_wide_as_it_was_high() -> None:
    inner = PicturePanel((320, 240))
    panel = TurnedPanel(inner, 90.0)
    assert panel.size == (240, 320)
    image = Image.new("RGB", (240, 320), (9, 9, 9))
    panel.show(image, whole(image))
    assert inner.seen().getbbox() == (0, 0, 320, 240)


def test_light_and_closing_are_passed_on() -> None:
    inner = PicturePanel()
    panel = TurnedPanel(inner, 5.0)
    panel.dim(0.3)
    panel.close()
    assert inner.level == 0.3


def test_a_device_that_has_to_be_looked_after_is_looked_after() -> None:
    class Minded(PicturePanel):
        tended = 0

        def tend(self) -> None:
            self.tended += 1

    inner = Minded()
    TurnedPanel(inner, 5.0).tend()
    TurnedPanel(PicturePanel(), 5.0).tend()
    assert inner.tended == 1
