from __future__ import annotations

import pytest
from coloraide import Color
from hypothesis import given
from hypothesis import strategies as st

from underdash.contract.errors import UnderdashError
from underdash.contract.pages import Role
from underdash.display.meanings import taken_for
from underdash.display.palettes import DAY, NIGHT_HUE, Colour, contrast, findings, luminance, night, shade


def test_contrast_is_that_of_the_w3c_definition() -> None:
    # "contrast ratios can range from 1 to 21" (note 1 of the definition)
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((255, 255, 255), (255, 255, 255)) == pytest.approx(1.0)
    # the definition's own weights: pure red, green and blue
    assert luminance((255, 0, 0)) == pytest.approx(0.2126)
    assert luminance((0, 255, 0)) == pytest.approx(0.7152)
    assert luminance((0, 0, 255)) == pytest.approx(0.0722)
    # a grey that is known to reach 4.5:1 on white
    assert contrast((118, 118, 118), (255, 255, 255)) == pytest.approx(4.54, abs=0.01)


def test_the_day_palette_has_nothing_hard_to_see() -> None:
    assert findings(DAY) == []


def test_every_hue_of_night_can_be_read() -> None:
    for hue in range(361):
        palette = night(hue)
        assert findings(palette) == [], hue
        assert contrast(palette.ink, palette.ground) > contrast(palette.soft, palette.ground), hue
        assert (palette.caution, palette.warning) == (night(0).caution, night(0).warning), hue


def test_dark_hues_are_lifted_until_they_can_be_read() -> None:
    blue, yellow = night(240), night(60)
    assert max(blue.soft) > max(yellow.soft)
    assert contrast(blue.soft, blue.ground) == pytest.approx(contrast(yellow.soft, yellow.ground), rel=0.05)


COLOURS = st.tuples(*[st.integers(0, 255)] * 3)


@given(COLOURS, COLOURS)
def test_contrast_agrees_with_an_independent_implementation(one: Colour, other: Colour) -> None:
    theirs = [Color("srgb", [part / 255 for part in colour]) for colour in (one, other)]
    assert contrast(one, other) == pytest.approx(theirs[0].contrast(theirs[1], method="wcag21"), rel=2e-3)


def test_red_and_amber_stay_themselves_at_night() -> None:
    blue, green = night(240), night(120)
    assert blue.caution == green.caution
    assert blue.warning == green.warning
    assert blue.of(Role.WARNING) == blue.warning
    assert not blue.filled


@pytest.mark.parametrize(("hue", "name"), [(38, "caution"), (0, "warning"), (120, "normal")])
def test_a_hue_like_a_colour_that_means_something_is_told(hue: int, name: str) -> None:
    assert any(name in meant.name for meant in taken_for(hue))


def away(one: Colour, other: Colour) -> float:
    """How different two colours look (CIEDE2000), by an independent implementation."""
    a, b = (Color("srgb", [part / 255 for part in colour]) for colour in (one, other))
    return float(a.delta_e(b, method="2000"))


def nearest_to(colour: Colour, hue: float) -> float:
    palette = night(hue)
    return min(away(getattr(palette, role), colour) for role in ("ink", "soft", "accent", "muted"))


def test_every_hue_that_is_not_told_differs_from_what_warns_more_than_from_what_is_near() -> None:
    for hue in range(360):
        palette, told = night(hue), " ".join(meant.name for meant in taken_for(hue))
        for role in ("caution", "warning"):
            if role not in told:
                assert nearest_to(getattr(palette, role), hue) >= 20.0, (hue, role)


def test_the_hue_of_a_night_nobody_chose_is_far_from_every_colour_that_means_something() -> None:
    assert taken_for(NIGHT_HUE) == []
    for colour in (night().caution, night().warning, (60, 200, 90)):
        assert nearest_to(colour, NIGHT_HUE) > 40.0


@pytest.mark.parametrize("hue", [-1.0, 361.0, float("nan")])
def test_a_hue_that_is_no_angle_is_refused(hue: float) -> None:
    with pytest.raises(UnderdashError, match="0 to 360"):
        night(hue)


@pytest.mark.parametrize("ratio", [2.0, 5.0, 9.0])
def test_a_shade_is_as_dark_as_its_contrast_allows(ratio: float) -> None:
    assert contrast(shade(200, 0.7, ratio), (0, 0, 0)) == pytest.approx(ratio, rel=0.05)
