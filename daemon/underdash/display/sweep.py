"""The sweep: a band along the rim that grows from its zero in either direction, and the peak that was held.

What does not move (rail, zones, gaps at round numbers) goes into the static layer. Everything here stays outside the
circle of radius `clear`, so that nothing runs into the digits.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, log10

from PIL import Image, ImageChops

from ..contract.pages import Role, Scale
from ..contract.signals import Age
from .elements import Picture, Sweep
from .palettes import Colour, Palette
from .round import Box, Face, common, union
from .smooth import Patch, Point, bounds, polar, ring_bounds, ring_piece

START_DEG = 150.0
SPAN_DEG = 240.0
STEP_DEG = 0.25
GAP_DEG = 1.1
MOST_GAPS = 12
HALO_PX = 1.5
NOTCH_PX = 4.0

Sprite = tuple[Box, Image.Image, Image.Image]


@dataclass(frozen=True, slots=True)
class Ring:
    """Where a sweep lies; radii in pixels."""

    centre: Point
    rail: tuple[float, float]
    band: tuple[float, float]
    clear: float

    @classmethod
    def on(cls, face: Face) -> Ring:
        """Return the sweep's place on a panel."""
        u = face.unit
        return cls(face.centre, (112.0 * u, 115.0 * u), (95.5 * u, 108.5 * u), 92.0 * u)


def angle_of(scale: Scale, value: float) -> float:
    """Return the angle of a value, clockwise from the right, in steps too small to be seen."""
    share = (min(max(value, scale.low), scale.high) - scale.low) / (scale.high - scale.low)
    return round((START_DEG + SPAN_DEG * share) / STEP_DEG) * STEP_DEG


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
    power = 10.0 ** floor(log10(rough))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= rough * 0.8)
    first, last = ceil(scale.low / step), floor(scale.high / step)
    marks = [i * step for i in range(first, last + 1)]
    loud = [zone for zone in scale.zones if zone.role in (Role.CAUTION, Role.WARNING)]
    inside = [m for m in marks if scale.low < m < scale.high and m != scale.zero]
    return [m for m in inside if not any(zone.low <= m <= zone.high for zone in loud)][:MOST_GAPS]


class SweepPart:
    """Paints a sweep; made anew when the scale or the palette changes."""

    def __init__(self, ring: Ring, scale: Scale, palette: Palette) -> None:
        self._ring = ring
        self._scale = scale
        self._palette = palette
        self._zero = angle_of(scale, scale.zero)
        whole = ring_bounds(ring.centre, *ring.band, START_DEG, START_DEG + SPAN_DEG)
        self._band_box = whole
        patch = Patch(whole)
        patch.polygon(ring_piece(ring.centre, *ring.band, START_DEG, START_DEG + SPAN_DEG))
        self._band = patch.mask()
        self._mark_box, self._mark = self._zero_mark()
        self._heads: dict[float, Sprite] = {}
        self._notches: dict[float, Sprite] = {}

    def paint_static(self, image: Image.Image) -> None:
        """Paint rail and zones onto the static layer."""
        ring, scale, palette = self._ring, self._scale, self._palette
        self._arc(image, ring.rail, START_DEG, START_DEG + SPAN_DEG, palette.track)
        for zone in scale.zones:
            if zone.role in (Role.CAUTION, Role.WARNING):
                ends = angle_of(scale, zone.low), angle_of(scale, zone.high)
                self._arc(image, (ring.rail[0] - 0.5, ring.rail[1] + 0.5), *ends, palette.of(zone.role))
        for mark in steps(scale):
            at = angle_of(scale, mark)
            self._arc(image, (ring.rail[0] - 1, ring.rail[1] + 1), at - GAP_DEG / 2, at + GAP_DEG / 2, palette.ground)

    def boxes(self, before: Picture, after: Picture) -> list[Box]:
        """Return what must be painted again between two pictures."""
        old, new = before.sweep, after.sweep
        if old is None or new is None or old == new:
            return []
        found = self._band_change(old, new)
        notches = [self._notch(s)[0] if self._has_notch(s) else None for s in (old, new)]
        if notches[0] != notches[1]:
            found += [box for box in notches if box is not None]
        return found

    def paint(self, tile: Image.Image, box: Box, picture: Picture) -> None:
        """Paint what of the sweep lies in `box` onto `tile`, whose upper left corner is the box's."""
        sweep = picture.sweep
        if sweep is None:
            return
        if sweep.value is not None:
            self._paint_band(tile, box, sweep)
        if self._has_notch(sweep):
            place, mask, halo = self._notch(sweep)
            _stamp(tile, box, place, halo, self._palette.ground)
            _stamp(tile, box, place, mask, self._palette.ink)
        head = None if sweep.value is None else self._head(angle_of(sweep.scale, sweep.value))
        if head is not None:
            _stamp(tile, box, head[0], head[2], self._palette.ground)
        # between the head and its halo: near zero the head must not wipe the mark out
        _stamp(tile, box, self._mark_box, self._mark, self._palette.ink)
        if head is not None:
            _stamp(tile, box, head[0], head[1], self._head_colour(sweep))

    def _band_change(self, old: Sweep, new: Sweep) -> list[Box]:
        ends = [None if s.value is None else angle_of(s.scale, s.value) for s in (old, new)]
        looks = [(role_of(s), s.age) for s in (old, new)]
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
        end = angle_of(sweep.scale, sweep.value or 0.0)
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

    def _has_notch(self, sweep: Sweep) -> bool:
        return sweep.peak is not None and sweep.scale.low <= sweep.peak

    def _notch(self, sweep: Sweep) -> Sprite:
        """Return the peak's notch, a stroke that stands in the band, as `_head` does."""
        angle = angle_of(sweep.scale, sweep.peak or 0.0)
        if angle not in self._notches:
            inner, outer = self._ring.band
            half = degrees_wide(NOTCH_PX / 2 * outer / 108.5, outer)
            wide = half + degrees_wide(HALO_PX, outer)
            box = bounds(ring_piece(self._ring.centre, inner, outer, angle - wide, angle + wide))
            masks = []
            for reach in (half, wide):
                patch = Patch(box)
                patch.polygon(ring_piece(self._ring.centre, inner, outer, angle - reach, angle + reach))
                masks.append(patch.mask())
            _kept(self._notches)[angle] = box, masks[0], masks[1]
        return self._notches[angle]

    def _zero_mark(self) -> tuple[Box, Image.Image]:
        reach = self._ring.band[0] - 0.5, self._ring.rail[1] + 0.5
        wide = degrees_wide(3.2 * self._ring.rail[1] / 115.0, reach[1])
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


def _kept(cache: dict[float, Sprite]) -> dict[float, Sprite]:
    if len(cache) > 64:
        cache.clear()
    return cache


def _stamp(tile: Image.Image, box: Box, place: Box, mask: Image.Image, colour: Colour) -> None:
    if common(box, place):
        tile.paste(colour, (place[0] - box[0], place[1] - box[1]), mask)
