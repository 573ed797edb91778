"""Means of relative luminance."""

from __future__ import annotations

import pytest
from PIL import Image

from underdash.display.light import bright_share, candela, mean_luminance
from underdash.display.palettes import luminance
from underdash.display.round import Face


def test_a_single_colour_has_its_own_luminance() -> None:
    for colour in ((0, 0, 0), (255, 255, 255), (200, 100, 30)):
        assert mean_luminance(Image.new("RGB", (8, 8), colour)) == pytest.approx(luminance(colour))


def test_the_mean_is_one_of_light_and_not_of_numbers() -> None:
    image = Image.new("RGB", (2, 1), (255, 255, 255))
    image.putpixel((0, 0), (0, 0, 0))
    assert mean_luminance(image) == pytest.approx(0.5)
    assert bright_share(image, 0.9) == 0.5


def test_what_a_round_panel_hides_does_not_count() -> None:
    mask = Face(100, 100).mask()
    image = Image.new("RGB", (100, 100))
    image.paste((255, 255, 255), (0, 0), mask)
    assert mean_luminance(image, mask) > 0.99
    assert mean_luminance(image) < 0.8
    assert bright_share(image, 0.5, mask) > 0.99


def test_candela_follow_the_level_the_panel_is_dimmed_to() -> None:
    assert candela(0.02, 0.3, 300.0) == pytest.approx(1.8)
