"""How much light the pages of a panel give by night, told by what is drawn."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from ..config.checking import Finding, Level
from ..display.elements import Picture
from ..display.fonts import Fonts
from ..display.kit import Painter
from ..display.light import BRIGHT, BRIGHT_SHARE, NIGHT_MEAN, WHITE_CD_M2, bright_share, candela, mean_luminance
from ..display.palettes import Palette
from ..display.round import Face


def light_of(picture: Picture, face: Face, palette: Palette, fonts: Fonts) -> tuple[float, float]:
    """Return the mean luminance of a picture and its share of bright pixels, each 0..1."""
    visible, (image, _) = face.mask(), Painter(face, palette, fonts).paint(picture)
    return mean_luminance(image, visible), bright_share(image, BRIGHT, visible)


def lighting(panel: str, lights: Mapping[str, tuple[float, float]], level: float) -> Iterator[Finding]:
    """Tell how much light pages give by night, and which give too much.

    Args:
        panel: its name.
        lights: what `light_of` found, by page.
        level: what the panel is dimmed to by night, linear, 0..1.
    """
    for page, (mean, bright) in lights.items():
        if mean > NIGHT_MEAN or bright > BRIGHT_SHARE:
            sentence = (
                f"page {page!r} on panel {panel} is bright by night: {100 * mean:.1f} % of the panel's "
                f"white in the mean ({100 * NIGHT_MEAN:g} at most), {100 * bright:.0f} % of its pixels are bright "
                f"({100 * BRIGHT_SHARE:g} at most)"
            )
            yield Finding(Level.WARNING, sentence, "tell the author of the page, or lower dimming.night")
    if lights:
        means = ", ".join(f"{page} {100 * mean:.1f} %" for page, (mean, _) in lights.items())
        most = candela(max(mean for mean, _ in lights.values()), level)
        sentence = (
            f"by night and with ordinary values pages on panel {panel} give, of its white: {means}; at most about "
            f"{most:.1f} cd/m2 with a white of {WHITE_CD_M2:g} (assumed) dimmed to {level:g}"
        )
        yield Finding(Level.NOTE, sentence)
