"""Rows: up to four values one under the other; labels stand still, values move."""

from __future__ import annotations

from math import inf
from typing import NamedTuple

from PIL import Image

from ..contract.pages import Role
from ..contract.signals import Age
from .elements import Picture, Row
from .fonts import BOLD, Fonts
from .palettes import Colour, Palette
from .round import Box, common, union


class RowSpot(NamedTuple):
    """A row's place: right edge and top of the value's digits, its font size, and how wide it may be."""

    right: int
    top: int
    px: int
    room: float = inf


class RowsPart:
    """Paints the values of rows."""

    def __init__(self, spots: tuple[RowSpot, ...], palette: Palette, fonts: Fonts) -> None:
        self._spots = spots
        self._palette = palette
        self._fonts = fonts

    def boxes(self, before: Picture, after: Picture) -> list[Box]:
        """Return what must be painted again between two pictures."""
        return [
            union(self._box(spot, old), self._box(spot, new))
            for spot, old, new in zip(self._spots, before.rows, after.rows, strict=False)
            if old != new
        ]

    def paint(self, tile: Image.Image, box: Box, picture: Picture) -> None:
        """Paint what of the values lies in `box` onto `tile`."""
        for spot, row in zip(self._spots, picture.rows, strict=False):
            place = self._box(spot, row)
            if common(box, place):
                mask = self.mask(spot, row)
                tile.paste(self._colour(row), (place[0] - box[0], place[1] - box[1]), mask)

    def _box(self, spot: RowSpot, row: Row) -> Box:
        mask = self.mask(spot, row)
        left = spot.right - mask.width
        return left, spot.top, spot.right, spot.top + mask.height

    def mask(self, spot: RowSpot, row: Row) -> Image.Image:
        """Return the strokes of a value, cut short where there is no room for all of it."""
        mask = self._fonts.line(BOLD, spot.px, row.text)
        if mask.width <= spot.room + 1:
            return mask
        return self._fonts.line(BOLD, spot.px, self._fonts.fit(BOLD, spot.px, row.text, spot.room, spot.px)[1])

    def _colour(self, row: Row) -> Colour:
        if row.age is not Age.FRESH:
            return self._palette.soft
        return self._palette.of(Role.INK if row.role is Role.ACCENT else row.role)
