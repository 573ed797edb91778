"""Colours by role: one palette for the day, one for the night in the hue of the owner's dashboard.

Contrast is the ratio of relative luminances as W3C defines it (Recommendation WCAG 2.2, definitions of "contrast
ratio" and "relative luminance"). The ratios aimed at are those ISO 15008 is known for (clause 4.3.2 of the 2017
edition: night 5:1, day 3:1), written down from memory, without the standard at hand.

Colours mean what they mean on a dashboard (`meanings.py`): `warning` and `caution` are never decoration. Red and amber
are there only where a value is in such a zone, on the zone's hairline at the rim, and in words that warn; green is
nowhere, since what is normal needs no word. The owner's night hue may itself be one of them, as many dashboards are;
`taken_for` tells.
"""

from __future__ import annotations

from colorsys import hls_to_rgb
from typing import NamedTuple

from ..contract.errors import UnderdashError
from ..contract.pages import Role

Colour = tuple[int, int, int]

TEXT_CONTRAST = {"day": 3.0, "night": 5.0}
SHAPE_CONTRAST = 2.0
WEIGHTS = (0.2126, 0.7152, 0.0722)
"""Of red, green and blue in the relative luminance."""
NIGHT_HUE = 200.0
"""Of the night where the owner chose none: as far as can be from amber, red and green, and near the day's band."""


class Palette(NamedTuple):
    """The colours in force.

    Attributes:
        ground: what everything stands on.
        ink: the value. soft: words beside it. accent: the band. muted: the band below zero. track: the band's rail.
        filled: whether an alert may be a filled surface; at night nothing large is bright.
    """

    name: str
    ground: Colour
    ink: Colour
    soft: Colour
    accent: Colour
    muted: Colour
    track: Colour
    caution: Colour
    warning: Colour
    filled: bool = True

    def of(self, role: Role) -> Colour:
        """Return the colour of a role."""
        return {
            Role.INK: self.ink,
            Role.SOFT: self.soft,
            Role.ACCENT: self.accent,
            Role.CAUTION: self.caution,
            Role.WARNING: self.warning,
        }[role]


DAY = Palette(
    name="day",
    ground=(9, 11, 13),
    ink=(244, 246, 243),
    soft=(170, 180, 184),
    accent=(84, 202, 214),
    muted=(62, 122, 134),
    track=(64, 70, 76),
    caution=(255, 176, 40),
    warning=(255, 86, 68),
)


def luminance(colour: Colour) -> float:
    """Return the relative luminance of an sRGB colour, 0..1 (WCAG 2.2)."""
    return sum(weight * linear(part / 255) for weight, part in zip(WEIGHTS, colour, strict=True))


def linear(part: float) -> float:
    """Return the light of an sRGB component, both 0..1 (WCAG 2.2, "relative luminance")."""
    return part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4


def contrast(a: Colour, b: Colour) -> float:
    """Return the contrast ratio of two colours, 1..21 (WCAG 2.2)."""
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def shade(hue_deg: float, saturation: float, ratio: float) -> Colour:
    """Return the darkest shade of a hue that has at least this contrast against black."""
    low, high = 0.0, 1.0
    for _ in range(20):
        middle = (low + high) / 2
        if contrast(_colour(hue_deg, middle, saturation), (0, 0, 0)) < ratio:
            low = middle
        else:
            high = middle
    return _colour(hue_deg, high, saturation)


def _colour(hue_deg: float, lightness: float, saturation: float) -> Colour:
    red, green, blue = hls_to_rgb(hue_deg / 360.0, lightness, saturation)
    return round(red * 255), round(green * 255), round(blue * 255)


def night(hue_deg: float = NIGHT_HUE) -> Palette:
    """Return the palette for the dark: one hue on black, red and amber as themselves.

    Args:
        hue_deg: hue of the dashboard's lighting, 0..360 (0 red, 32 amber, 120 green, 200 ice blue, 240 blue).

    Raises:
        UnderdashError: the hue is not an angle from 0 to 360.
    """
    if not 0.0 <= hue_deg <= 360.0:
        raise UnderdashError(
            f"dimming: night_hue is {hue_deg:g}; it is an angle from 0 to 360 degrees (0 red, 32 amber, 120 green, "
            "240 blue). Set it to the hue of your dashboard's lighting."
        )
    hue = hue_deg % 360.0
    return Palette(
        name="night",
        ground=(0, 0, 0),
        ink=shade(hue, 0.72, 9.0),
        soft=shade(hue, 0.5, 5.6),
        accent=shade(hue, 0.8, 4.0),
        muted=shade(hue, 0.6, 2.5),
        track=shade(hue, 0.45, 1.5),
        caution=(255, 170, 32),
        warning=(255, 76, 60),
        filled=False,
    )


def findings(palette: Palette) -> list[str]:
    """Return what is hard to see in a palette, one sentence each; none when all is well."""
    aim = TEXT_CONTRAST.get(palette.name, 5.0)
    found = []
    for role in ("ink", "soft", "caution", "warning"):
        ratio = contrast(getattr(palette, role), palette.ground)
        if ratio < aim:
            found.append(_weak(palette, role, ratio, aim))
    for role in ("accent", "muted"):
        ratio = contrast(getattr(palette, role), palette.ground)
        if ratio < SHAPE_CONTRAST:
            found.append(_weak(palette, role, ratio, SHAPE_CONTRAST))
    return found


def _weak(palette: Palette, role: str, ratio: float, aim: float) -> str:
    return f"{palette.name} palette: {role} has a contrast of {ratio:.1f}:1, {aim:g}:1 is needed"
