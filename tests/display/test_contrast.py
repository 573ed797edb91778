"""Contrast out of the pixels that were drawn."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from underdash.contract.pages import Role
from underdash.contract.words import Words
from underdash.display.contrast import least_ratio, measured
from underdash.display.elements import Picture
from underdash.display.fonts import Fonts
from underdash.display.kit import Painter
from underdash.display.layout import arrange
from underdash.display.palettes import DAY, Palette, contrast, night
from underdash.display.round import Face
from underdash.display.texts import texts_of

FACE = Face(240, 240)


def ratios(picture: Picture, palette: Palette) -> dict[str, float]:
    """The least contrast of each part."""
    fonts = Fonts()
    image, _ = Painter(FACE, palette, fonts).paint(picture)
    texts = texts_of(picture, arrange(picture, FACE, fonts), fonts)
    found: dict[str, float] = {}
    for text, ratio in zip(texts, measured(image, texts), strict=True):
        found[text.part] = min(ratio, found.get(text.part, ratio))
    return found


def test_it_is_that_of_the_colours_the_text_was_drawn_in(boost_picture: Callable[..., Picture]) -> None:
    found = ratios(boost_picture(remark="reference assumed"), DAY)
    assert found["main value"] == pytest.approx(contrast(DAY.ink, DAY.ground))
    assert found["remark"] == pytest.approx(contrast(DAY.caution, DAY.ground))
    assert found["name"] == pytest.approx(contrast(DAY.soft, DAY.ground))


def test_what_is_really_behind_counts(boost_picture: Callable[..., Picture]) -> None:
    """An alert is written in the ground's colour on its own by day, and the other way round at night."""
    picture = boost_picture()._replace(banner=Words("engine oil hot", Role.WARNING))
    by_day, by_night = ratios(picture, DAY), ratios(picture, night(200))
    assert by_day["alert"] == pytest.approx(contrast(DAY.ground, DAY.warning))
    assert by_night["alert"] == pytest.approx(contrast(night(200).warning, (0, 0, 0)))


def test_a_colour_that_can_hardly_be_seen_is_measured_as_such(boost_picture: Callable[..., Picture]) -> None:
    faint = DAY._replace(ink=(30, 32, 34))
    assert ratios(boost_picture(), faint)["main value"] < least_ratio("day")


def test_something_bright_right_beside_the_strokes_counts() -> None:
    fonts = Fonts()
    picture = Picture(title="ignition")
    image, _ = Painter(FACE, DAY, fonts).paint(picture)
    texts = texts_of(picture, arrange(picture, FACE, fonts), fonts)
    before = measured(image, texts)[0]
    left, top, right, bottom = texts[0].box
    spoiled = image.copy()
    spoiled.paste((170, 180, 184), (left, (top + bottom) // 2, right, (top + bottom) // 2 + 1))
    assert measured(spoiled, texts)[0] < 1.5 < before


@pytest.mark.parametrize("hue", range(0, 360, 30))
def test_texts_of_a_page_stand_out_at_night_whatever_the_hue(hue: int, boost_picture: Callable[..., Picture]) -> None:
    found = ratios(boost_picture(remark="reference assumed"), night(hue))
    assert min(found.values()) >= least_ratio("night")
