"""What fills at the very edge while a button is held: a ring, on a panel with corners a frame."""

from __future__ import annotations

from collections.abc import Iterator

from PIL import Image

from .elements import Picture
from .palettes import Palette
from .round import Box, Face, common
from .smooth import Patch, ring_bounds, ring_piece

TOP_DEG = -90.0
STEPS = 90
THICK = 3.0


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


class FramePart:
    """Paints the share of a hold that is done along the edge of a panel with corners, from the top clockwise."""

    def __init__(self, face: Face, palette: Palette) -> None:
        self._size = face.width, face.height
        self._thick = max(1, round(THICK * face.unit))
        self._palette = palette

    def boxes(self, before: Picture, after: Picture) -> list[Box]:
        """Return what must be painted again between two pictures."""
        low, high = sorted((_known(before.ring), _known(after.ring)))
        return list(self._along(low, high))

    def paint(self, tile: Image.Image, box: Box, picture: Picture) -> None:
        """Paint what of the frame lies in `box` onto `tile`."""
        for piece in self._along(0.0, _known(picture.ring)):
            part = common(box, piece)
            if part is not None:
                x0, y0, x1, y1 = part
                tile.paste(self._palette.accent, (x0 - box[0], y0 - box[1], x1 - box[0], y1 - box[1]))

    def _along(self, start: float, end: float) -> Iterator[Box]:
        """Yield the pieces of the edge from one share of the way round to another."""
        (width, height), thick = self._size, self._thick
        half, way = width / 2, 2.0 * (width + height)
        sides = (  # how long each side is, and what of it lies from one point to another
            (width - half, lambda a, b: (half + a, 0, half + b, thick)),
            (height, lambda a, b: (width - thick, a, width, b)),
            (width, lambda a, b: (width - b, height - thick, width - a, height)),
            (height, lambda a, b: (0, height - b, thick, height - a)),
            (half, lambda a, b: (a, 0, b, thick)),
        )
        done = 0.0
        for length, piece in sides:
            low, high = max(0.0, start * way - done), min(length, end * way - done)
            done += length
            if low < high:
                x0, y0, x1, y1 = (round(at) for at in piece(low, high))
                if x0 < x1 and y0 < y1:
                    yield x0, y0, x1, y1


def _known(share: float) -> float:
    """Return a share in steps; one that is no number is none."""
    known = min(share, 1.0) if share > 0.0 else 0.0
    return round(known * STEPS) / STEPS


def _angle(share: float) -> float:
    return TOP_DEG + 360.0 * _known(share)
