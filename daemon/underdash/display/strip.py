"""The strip: recent history as one thin line."""

from __future__ import annotations

from PIL import Image

from .elements import STRIP_COLUMNS, Picture, Strip, share_of
from .palettes import Palette
from .round import Box, common
from .smooth import Patch, Point

LONGEST_BRIDGE = 6
"""Columns without a sample that the line still crosses; a longer gap stays open, since nobody knows."""


class StripPart:
    """Paints the strip in its box."""

    def __init__(self, box: Box, palette: Palette, width: float) -> None:
        self._box = box
        self._palette = palette
        self._width = width
        self._drawn: tuple[Strip, Image.Image] | None = None

    def boxes(self, before: Picture, after: Picture) -> list[Box]:
        """Return what must be painted again between two pictures."""
        return [] if before.strip == after.strip else [self._box]

    def paint(self, tile: Image.Image, box: Box, picture: Picture) -> None:
        """Paint what of the strip lies in `box` onto `tile`."""
        if picture.strip is None or common(box, self._box) is None:
            return
        tile.paste(self._palette.soft, (self._box[0] - box[0], self._box[1] - box[1]), self._line(picture.strip))

    def _line(self, strip: Strip) -> Image.Image:
        if self._drawn is None or self._drawn[0] != strip:
            patch = Patch(self._box)
            for run in runs(strip.columns):
                points = [self._point(strip, column, value) for column, value in run]
                if len(points) == 1:
                    patch.disc(points[0], self._width / 2)
                else:
                    patch.line(points, self._width)
            self._drawn = strip, patch.mask()
        return self._drawn[1]

    def _point(self, strip: Strip, column: int, value: float) -> Point:
        left, top, right, bottom = self._box
        share = share_of(strip.scale, value)
        edge = self._width
        x = left + edge + (right - left - 2 * edge) * column / (STRIP_COLUMNS - 1)
        return x, bottom - edge - (bottom - top - 2 * edge) * share


def runs(columns: tuple[float | None, ...]) -> list[list[tuple[int, float]]]:
    """Return the known columns in runs without a long gap."""
    found: list[list[tuple[int, float]]] = []
    for column, value in enumerate(columns):
        if value is None:
            continue
        if found and column - found[-1][-1][0] <= LONGEST_BRIDGE:
            found[-1].append((column, value))
        else:
            found.append([(column, value)])
    return found
