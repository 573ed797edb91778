"""The sweep: a band along an arc that grows from its zero in either direction, the peak that was held, the average.

What does not move (rail, zones, gaps at round numbers) goes into the static layer. Everything here stays outside the
circle of radius `clear`, so that nothing runs into the digits.
"""

from __future__ import annotations

from math import asin, ceil, degrees, floor, isfinite, log10
from typing import NamedTuple, TypeVar

from PIL import Image, ImageChops

from ..contract.pages import ALARMS, Role, Scale
from ..contract.signals import Age
from .elements import Picture, Sweep, share_of
from .palettes import Colour, Palette
from .round import Box, common, union
from .smooth import Patch, Point, bounds, polar, ring_bounds, ring_piece

START_DEG = 150.0
SPAN_DEG = 240.0
STEP_PX = 0.5
GAP_PX = 2.2
MOST_GAPS = 12
HALO_PX = 1.5
NOTCH_PX = 4.0
AVERAGE_SHARE = 0.5
"""How much of the band the average's mark crosses, from within."""

Sprite = tuple[Box, Image.Image, Image.Image]
_K = TypeVar("_K")


class Ring(NamedTuple):
    """Where a sweep lies.

    Attributes:
        centre: of its circle, in pixels.
        rail, band: radii in pixels.
        clear: nothing of it lies inside this radius.
        unit: size of a pixel of the 240 that its widths are given for.
        start, span: degrees clockwise from the right.
    """

    centre: Point
    rail: tuple[float, float]
    band: tuple[float, float]
    clear: float
    unit: float
    start: float = START_DEG
    span: float = SPAN_DEG

    @classmethod
    def around(cls, centre: Point, unit: float) -> Ring:
        """Return the sweep along the rim of a circle of 240 units across."""
        u = unit
        return cls(centre, (112.0 * u, 115.0 * u), (95.5 * u, 108.5 * u), 92.0 * u, u)

    @classmethod
    def over(cls, left: Point, right: Point, rise: float, unit: float) -> Ring:
        """Return the sweep that spans a wide panel as an arch.

        Args:
            left, right: ends of its outer edge, at one height.
            rise: of its middle above the ends, in pixels.
            unit: pixels a unit.
        """
        half = (right[0] - left[0]) / 2
        radius = (half * half + rise * rise) / (2 * rise)
        reach = degrees(asin(min(half / radius, 1.0)))
        centre = (left[0] + right[0]) / 2, left[1] - rise + radius
        rail, band = (radius - 3 * unit, radius), (radius - 19.5 * unit, radius - 6.5 * unit)
        return cls(centre, rail, band, band[0] - 3.5 * unit, unit, -90.0 - reach, 2 * reach)

    def angle_of(self, scale: Scale, value: float) -> float:
        """Return the angle of a value, in steps too small to be seen."""
        steps = max(1, ceil(self.span / degrees_wide(STEP_PX, self.rail[1])))
        return self.start + self.span * round(share_of(scale, value) * steps) / steps


def role_of(sweep: Sweep) -> Role:
    """Return the role of the band: that of the zone its value is in; soft below zero."""
    value = sweep.value
    if value is None:
        return Role.SOFT
    for zone in sweep.scale.zones:
        if zone.low <= value < zone.high or (value >= zone.high == sweep.scale.high):
            return zone.role
    return Role.ACCENT if value >= sweep.scale.zero else Role.SOFT


def steps(scale: Scale) -> list[float]:
    """Return the round numbers at which the rail has a gap; in a zone its colour says enough."""
    rough = (scale.high - scale.low) / 6
    if not (isfinite(rough) and rough > 1e-300):
        return []
    power = 10.0 ** floor(log10(rough))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= rough * 0.8)
    first, last = ceil(scale.low / step), floor(scale.high / step)
    marks = [i * step for i in range(first, last + 1)]
    loud = [zone for zone in scale.zones if zone.role in ALARMS]
    inside = [m for m in marks if scale.low < m < scale.high and m != scale.zero]
    return [m for m in inside if not any(zone.low <= m <= zone.high for zone in loud)][:MOST_GAPS]


class SweepPart:
    """Paints a sweep; made anew when the scale or the palette changes."""

    def __init__(self, ring: Ring, scale: Scale, palette: Palette) -> None:
        self._ring = ring
        self._scale = scale
        self._palette = palette
        self._ends = ring.start, ring.start + ring.span
        self._zero = ring.angle_of(scale, scale.zero)
        whole = ring_bounds(ring.centre, *ring.band, *self._ends)
        self._band_box = whole
        patch = Patch(whole)
        patch.polygon(ring_piece(ring.centre, *ring.band, *self._ends))
        self._band = patch.mask()
        self._mark_box, self._mark = self._zero_mark()
        self._heads: dict[float, Sprite] = {}
        self._notches: dict[tuple[float, bool], Sprite] = {}

    def paint_static(self, image: Image.Image) -> None:
        """Paint rail and zones onto the static layer."""
        ring, scale, palette = self._ring, self._scale, self._palette
        self._arc(image, ring.rail, *self._ends, palette.track)
        for zone in scale.zones:
            if zone.role in ALARMS:
                low, high = sorted((ring.angle_of(scale, zone.low), ring.angle_of(scale, zone.high)))
                self._arc(image, (ring.rail[0] - 0.5, ring.rail[1] + 0.5), low, high, palette.of(zone.role))
        half = degrees_wide(GAP_PX * ring.unit, ring.rail[1]) / 2
        for mark in steps(scale):
            at = ring.angle_of(scale, mark)
            self._arc(image, (ring.rail[0] - 1, ring.rail[1] + 1), at - half, at + half, palette.ground)

    def boxes(self, before: Picture, after: Picture) -> list[Box]:
        """Return what must be painted again between two pictures."""
        old, new = before.sweep, after.sweep
        if old is None or new is None or old == new:
            return []
        found = self._band_change(old, new)
        notches = [self._marks(s) for s in (old, new)]
        if notches[0] != notches[1]:
            found += [self._notch(*mark)[0] for mark in {*notches[0], *notches[1]}]
        return found

    def paint(self, tile: Image.Image, box: Box, picture: Picture) -> None:
        """Paint what of the sweep lies in `box` onto `tile`, whose upper left corner is the box's."""
        sweep = picture.sweep
        if sweep is None:
            return
        if sweep.value is not None:
            self._paint_band(tile, box, sweep)
        for mark in self._marks(sweep):
            place, mask, halo = self._notch(*mark)
            _stamp(tile, box, place, halo, self._palette.ground)
            _stamp(tile, box, place, mask, self._palette.ink)
        shows_head = sweep.value is not None and not sweep.coarse
        head = self._head(self._ring.angle_of(sweep.scale, sweep.value or 0.0)) if shows_head else None
        if head is not None:
            _stamp(tile, box, head[0], head[2], self._palette.ground)
        # between the head and its halo: near zero the head must not wipe the mark out
        _stamp(tile, box, self._mark_box, self._mark, self._palette.ink)
        if head is not None:
            _stamp(tile, box, head[0], head[1], self._head_colour(sweep))

    def _band_change(self, old: Sweep, new: Sweep) -> list[Box]:
        ends = [None if s.value is None else self._ring.angle_of(s.scale, s.value) for s in (old, new)]
        looks = [(role_of(s), s.age, s.coarse) for s in (old, new)]
        if ends[0] == ends[1] and looks[0] == looks[1]:
            return []
        angles = [a for a in ends if a is not None]
        if looks[0] != looks[1] or len(angles) < 2:
            angles.append(self._zero)
        low, high = min(angles), max(angles)
        found = ring_bounds(self._ring.centre, *self._ring.band, low, high)
        for end in ends:
            if end is not None:
                found = union(found, self._head(end)[0])
        return [found]

    def _paint_band(self, tile: Image.Image, box: Box, sweep: Sweep) -> None:
        end = self._ring.angle_of(sweep.scale, sweep.value or 0.0)
        low, high = min(end, self._zero), max(end, self._zero)
        if low == high:
            return
        part = common(box, ring_bounds(self._ring.centre, *self._ring.band, low, high))
        part = common(part, self._band_box) if part else None
        if part is None:
            return
        patch = Patch(part)
        far = self._ring.band[1] * 2
        count = max(1, ceil((high - low) / 45))
        turn = [polar(self._ring.centre, far, low + (high - low) * i / count) for i in range(count + 1)]
        patch.polygon([self._ring.centre, *turn])
        left, top = self._band_box[0], self._band_box[1]
        band = self._band.crop((part[0] - left, part[1] - top, part[2] - left, part[3] - top))
        _stamp(tile, box, part, ImageChops.multiply(patch.mask(), band), self._band_colour(sweep))

    def _band_colour(self, sweep: Sweep) -> Colour:
        role = role_of(sweep)
        if sweep.age is Age.LATE:
            return self._palette.track
        return self._palette.muted if role is Role.SOFT else self._palette.of(role)

    def _head_colour(self, sweep: Sweep) -> Colour:
        return self._palette.ink if sweep.age is Age.FRESH else self._palette.soft

    def _head(self, angle: float) -> Sprite:
        """Return the band's bright end: its box, its mask, and that of the gap that sets it off from the band."""
        if angle not in self._heads:
            inner, outer = self._ring.band
            middle = polar(self._ring.centre, (inner + outer) / 2, angle)
            radius = (outer - inner) / 2 + 0.5
            box = bounds([middle], radius + HALO_PX + 1)
            masks = []
            for reach in (radius, radius + HALO_PX):
                patch = Patch(box)
                patch.disc(middle, reach)
                masks.append(patch.mask())
            _kept(self._heads)[angle] = box, masks[0], masks[1]
        return self._heads[angle]

    def _marks(self, sweep: Sweep) -> list[tuple[float, bool]]:
        """Return angle and kind of the marks: the average, and above it the peak."""
        marks = [(sweep.average, False), (sweep.peak, True)]
        return [
            (self._ring.angle_of(sweep.scale, value), whole)
            for value, whole in marks
            if value is not None and sweep.scale.low <= value
        ]

    def _notch(self, angle: float, whole: bool) -> Sprite:
        """Return a stroke that stands in the band, as `_head` does; one that is not whole stands in its inner part."""
        key = angle, whole
        if key not in self._notches:
            inner, outer = self._ring.band
            edge = outer if whole else inner + (outer - inner) * AVERAGE_SHARE
            half = degrees_wide(NOTCH_PX / 2 * self._ring.unit, outer)
            gap = degrees_wide(HALO_PX, outer)
            box = bounds(ring_piece(self._ring.centre, inner, edge + HALO_PX, angle - half - gap, angle + half + gap))
            masks = []
            for more, wide in ((0.0, half), (HALO_PX, half + gap)):
                patch = Patch(box)
                reach = edge if whole else edge + more
                patch.polygon(ring_piece(self._ring.centre, inner, reach, angle - wide, angle + wide))
                masks.append(patch.mask())
            _kept(self._notches)[key] = box, masks[0], masks[1]
        return self._notches[key]

    def _zero_mark(self) -> tuple[Box, Image.Image]:
        reach = self._ring.band[0] - 0.5, self._ring.rail[1] + 0.5
        wide = degrees_wide(3.2 * self._ring.unit, reach[1])
        points = ring_piece(self._ring.centre, *reach, self._zero - wide / 2, self._zero + wide / 2)
        patch = Patch(bounds(points))
        patch.polygon(points)
        return patch.box, patch.mask()

    def _arc(self, image: Image.Image, radii: tuple[float, float], start: float, end: float, colour: Colour) -> None:
        if start == end:
            return
        box = ring_bounds(self._ring.centre, *radii, start, end)
        patch = Patch(box)
        patch.polygon(ring_piece(self._ring.centre, *radii, start, end))
        image.paste(colour, box[:2], patch.mask())


def degrees_wide(pixels: float, radius: float) -> float:
    """Return the angle that so many pixels fill at a radius."""
    return pixels / radius * 57.29577951308232


def _kept(cache: dict[_K, Sprite]) -> dict[_K, Sprite]:
    if len(cache) > 64:
        cache.clear()
    return cache


def _stamp(tile: Image.Image, box: Box, place: Box, mask: Image.Image, colour: Colour) -> None:
    if common(box, place):
        tile.paste(colour, (place[0] - box[0], place[1] - box[1]), mask)
