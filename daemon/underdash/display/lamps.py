"""Lamps: named states that are lit or not. They change seldom, so they belong to what stands still."""

from __future__ import annotations

from typing import NamedTuple

from PIL import Image

from ..contract.signals import Age
from ..contract.words import Lamp
from .fonts import BOLD, CAP_HEIGHT, REGULAR, Fonts
from .palettes import Palette
from .round import Box
from .smooth import Patch


class LampSpot(NamedTuple):
    """A lamp's place: its box, the size of its letters, its text as far as there is room for it."""

    box: Box
    px: int
    text: str


def said(lamp: Lamp) -> str:
    """Return what stands on a lamp; dashes where nobody knows."""
    return lamp.text if lamp.lit is not None else f"{lamp.text} --"


def paint_lamp(image: Image.Image, spot: LampSpot, lamp: Lamp, palette: Palette, fonts: Fonts) -> None:
    """Paint a lamp: lit a filled field by day and a bright outline at night, dark a thin outline, unknown none."""
    late, lit = lamp.age is not Age.FRESH, bool(lamp.lit)
    colour = palette.of(lamp.role) if lit and not late else palette.soft
    wide = max(1.0, (spot.box[3] - spot.box[1]) / 12)
    filled = lit and palette.filled and not late
    if lamp.lit is not None:
        outer = _field(spot.box, 0.0)
        image.paste(colour if lit else palette.track, spot.box[:2], outer)
        if not filled:
            image.paste(palette.ground, spot.box[:2], _field(spot.box, wide * (1.5 if lit else 0.8)))
    mask, box = lettered(spot, lamp, fonts)
    image.paste(palette.ground if filled else colour, box[:2], mask)


def lettered(spot: LampSpot, lamp: Lamp, fonts: Fonts) -> tuple[Image.Image, Box]:
    """Return the strokes of a lamp's text and where they are."""
    mask = fonts.line(BOLD if lamp.lit else REGULAR, spot.px, spot.text)
    left = (spot.box[0] + spot.box[2] - mask.width) // 2
    # a little above the middle: letters hang down more often than they reach up
    top = round((spot.box[1] + spot.box[3]) / 2 - spot.px * (CAP_HEIGHT / 2 + 0.05))
    return mask, (left, top, left + mask.width, top + mask.height)


def _field(box: Box, inset: float) -> Image.Image:
    patch = Patch(box)
    radius = max((box[3] - box[1]) / 2 - inset, 0.0)
    patch.area(box[0] + inset, box[1] + inset, box[2] - inset, box[3] - inset, radius)
    return patch.mask()
