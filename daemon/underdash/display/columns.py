"""Columns: values on upright scales side by side, for what is compared, such as cylinders or cells.

A column is a sweep made straight: rail and zones stand still, the band grows from its zero and ends in a bright bar.
"""

from __future__ import annotations

from typing import NamedTuple

from PIL import Image

from ..contract.pages import ALARMS, Role
from ..contract.signals import Age
from .elements import Column, Picture, Sweep, share_of
from .fonts import BOLD, Fonts
from .palettes import Colour, Palette
from .round import Box, common, union
from .smooth import Patch
from .sweep import role_of, steps

HALO = 1.5
STEPS_A_PIXEL = 4

Layer = tuple[Image.Image, Colour]


class ColumnSpot(NamedTuple):
    """A column's place.

    Attributes:
        box: of rail, band and marks.
        x, top, px: middle, top of the digits and font size of the value's text; no text where px is 0.
        unit: pixels a unit of 240.
    """

    box: Box
    x: float
    top: int
    px: int
    unit: float

    def y_of(self, sweep: Sweep, value: float) -> float:
        """Return the height of a value, in steps too small to be seen."""
        edge = 3.0 * self.unit
        span = self.box[3] - self.box[1] - 2 * edge
        y = self.box[3] - edge - span * share_of(sweep.scale, value)
        return round(y * STEPS_A_PIXEL) / STEPS_A_PIXEL

    @property
    def rail(self) -> tuple[float, float]:
        """Left and right edge of the rail."""
        return self.box[0] + self.unit, self.box[0] + 4.0 * self.unit

    @property
    def band(self) -> tuple[float, float]:
        """Left and right edge of the band."""
        return self.box[0] + 7.0 * self.unit, self.box[2] - 2.0 * self.unit


class ColumnsPart:
    """Paints columns; what stands still of them is painted by `paint_static`."""

    def __init__(self, spots: tuple[ColumnSpot, ...], palette: Palette, fonts: Fonts) -> None:
        self._spots = spots
        self._palette = palette
        self._fonts = fonts
        self._drawn: dict[int, tuple[Column, list[Layer]]] = {}

    def paint_static(self, image: Image.Image, picture: Picture) -> None:
        """Paint rails and zones onto the static layer."""
        for spot, column in zip(self._spots, picture.columns, strict=False):
            sweep, (left, right) = column.sweep, spot.rail
            whole = _bar(spot, left, right, spot.box[1] + 3.0 * spot.unit, spot.box[3] - 3.0 * spot.unit)
            image.paste(self._palette.track, spot.box[:2], whole)
            for zone in sweep.scale.zones:
                if zone.role in ALARMS:
                    ends = sorted((spot.y_of(sweep, zone.low), spot.y_of(sweep, zone.high)))
                    image.paste(self._palette.of(zone.role), spot.box[:2], _bar(spot, left, right, *ends))
            for mark in steps(sweep.scale) if spot.box[3] - spot.box[1] > 40 else ():
                y = spot.y_of(sweep, mark)
                image.paste(self._palette.ground, spot.box[:2], _bar(spot, left, right, y - spot.unit, y + spot.unit))

    def boxes(self, before: Picture, after: Picture) -> list[Box]:
        """Return what must be painted again between two pictures."""
        found = []
        for spot, old, new in zip(self._spots, before.columns, after.columns, strict=False):
            if old.sweep != new.sweep:
                found.append(spot.box)
            if spot.px and _said(old) != _said(new):
                found.append(union(self._text_box(spot, old), self._text_box(spot, new)))
        return found

    def paint(self, tile: Image.Image, box: Box, picture: Picture) -> None:
        """Paint what of the columns lies in `box` onto `tile`."""
        for index, (spot, column) in enumerate(zip(self._spots, picture.columns, strict=False)):
            if common(box, spot.box):
                for mask, colour in self._layers(index, spot, column):
                    tile.paste(colour, (spot.box[0] - box[0], spot.box[1] - box[1]), mask)
            if spot.px and column.text:
                place = self._text_box(spot, column)
                if common(box, place):
                    mask = self._fonts.line(BOLD, spot.px, column.text)
                    tile.paste(self._text_colour(column), (place[0] - box[0], place[1] - box[1]), mask)

    def _layers(self, index: int, spot: ColumnSpot, column: Column) -> list[Layer]:
        if index not in self._drawn or self._drawn[index][0] != column:
            self._drawn[index] = column, list(self._made(spot, column.sweep))
        return self._drawn[index][1]

    def _made(self, spot: ColumnSpot, sweep: Sweep) -> list[Layer]:
        palette, (left, right) = self._palette, spot.band
        thin, thick = 1.2 * spot.unit, 2.4 * spot.unit
        found: list[Layer] = []
        zero = spot.y_of(sweep, sweep.scale.zero)
        at = None if sweep.value is None else spot.y_of(sweep, sweep.value)
        if at is not None and at != zero:
            found.append((_bar(spot, left, right, min(at, zero), max(at, zero)), self._band_colour(sweep)))
        for value, share in ((sweep.average, 0.5), (sweep.peak, 1.0)):
            if value is not None and value >= sweep.scale.low:
                y, edge = spot.y_of(sweep, value), left + (right - left) * share
                found.append((_bar(spot, left, edge + HALO, y - thin - HALO, y + thin + HALO), palette.ground))
                found.append((_bar(spot, left, edge, y - thin, y + thin), palette.ink))
        if at is not None and not sweep.coarse:
            found.append((_bar(spot, left, right + 2, at - thick - HALO, at + thick + HALO), palette.ground))
        found.append((_bar(spot, spot.rail[0], right, zero - thin, zero + thin), palette.ink))
        if at is not None and not sweep.coarse:
            head = palette.ink if sweep.age is Age.FRESH else palette.soft
            found.append((_bar(spot, spot.rail[1], spot.box[2], at - thick, at + thick), head))
        return found

    def _band_colour(self, sweep: Sweep) -> Colour:
        role = role_of(sweep)
        if sweep.age is Age.LATE:
            return self._palette.track
        return self._palette.muted if role is Role.SOFT else self._palette.of(role)

    def _text_colour(self, column: Column) -> Colour:
        role = role_of(column.sweep)
        if column.sweep.age is not Age.FRESH:
            return self._palette.soft
        return self._palette.of(role) if role in ALARMS else self._palette.ink

    def _text_box(self, spot: ColumnSpot, column: Column) -> Box:
        mask = self._fonts.line(BOLD, spot.px, column.text)
        left = round(spot.x - mask.width / 2)
        return left, spot.top, left + mask.width, spot.top + mask.height


def _said(column: Column) -> object:
    return column.text, column.sweep.age, role_of(column.sweep)


def _bar(spot: ColumnSpot, left: float, right: float, top: float, bottom: float) -> Image.Image:
    patch = Patch(spot.box)
    patch.area(left, top, right, bottom)
    return patch.mask()
