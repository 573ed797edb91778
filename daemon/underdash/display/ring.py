"""The ring at the very edge that fills while a button is held."""

from __future__ import annotations

from PIL import Image

from .elements import Picture
from .palettes import Palette
from .round import Box, Face, common
from .smooth import Patch, ring_bounds, ring_piece

TOP_DEG = -90.0
STEPS = 90


class RingPart:
    """Paints the share of a hold that is done, clockwise from the top."""

    def __init__(self, face: Face, palette: Palette) -> None:
        self._centre = face.centre
        self._radii = 116.4 * face.unit, 119.4 * face.unit
        self._palette = palette

    def boxes(self, before: Picture, after: Picture) -> list[Box]:
        """Return what must be painted again between two pictures."""
        if before.ring == after.ring:
            return []
        return [ring_bounds(self._centre, *self._radii, _angle(before.ring), _angle(after.ring))]

    def paint(self, tile: Image.Image, box: Box, picture: Picture) -> None:
        """Paint what of the ring lies in `box` onto `tile`."""
        if _angle(picture.ring) <= TOP_DEG:
            return
        place = ring_bounds(self._centre, *self._radii, TOP_DEG, _angle(picture.ring))
        part = common(box, place)
        if part is None:
            return
        patch = Patch(part)
        patch.polygon(ring_piece(self._centre, *self._radii, TOP_DEG, _angle(picture.ring), step_deg=2.0))
        tile.paste(self._palette.accent, (part[0] - box[0], part[1] - box[1]), patch.mask())


def _angle(share: float) -> float:
    # a share that is no number is none
    known = min(share, 1.0) if share > 0.0 else 0.0
    return TOP_DEG + 360.0 / STEPS * round(known * STEPS)
