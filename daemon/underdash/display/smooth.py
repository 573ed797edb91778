"""Anti-aliased shapes: drawn four times as large in a small patch and reduced.

All coordinates are the panel's. A patch starts on a whole pixel, so a shape gives the same pixels in whichever patch
it is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, cos, floor, radians, sin

from PIL import Image, ImageDraw

from .round import Box

SAMPLES = 4

Point = tuple[float, float]


def polar(centre: Point, radius: float, angle_deg: float) -> Point:
    """Return the point at an angle, clockwise from the right as the panel is seen."""
    angle = radians(angle_deg)
    return centre[0] + radius * cos(angle), centre[1] + radius * sin(angle)


def ring_piece(
    centre: Point, inner: float, outer: float, start_deg: float, end_deg: float, *, step_deg: float = 1.5
) -> list[Point]:
    """Return the outline of a piece of a ring.

    Args:
        centre, inner, outer: the ring.
        start_deg, end_deg: the piece, `end_deg` the larger one.
        step_deg: corners are this far apart, counted from the start, so that a longer piece has the same ones.
    """
    angles = [start_deg + i * step_deg for i in range(ceil((end_deg - start_deg) / step_deg))] + [end_deg]
    return [polar(centre, outer, a) for a in angles] + [polar(centre, inner, a) for a in reversed(angles)]


def bounds(points: Sequence[Point], margin: float = 1.0) -> Box:
    """Return the whole pixels around some points."""
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return floor(min(xs) - margin), floor(min(ys) - margin), ceil(max(xs) + margin), ceil(max(ys) + margin)


def ring_bounds(centre: Point, inner: float, outer: float, start_deg: float, end_deg: float) -> Box:
    """Return the whole pixels around a piece of a ring."""
    low, high = sorted((start_deg, end_deg))
    turns = [90.0 * i for i in range(ceil(low / 90), floor(high / 90) + 1)]
    points = [polar(centre, r, a) for r in (inner, outer) for a in (low, high)]
    return bounds(points + [polar(centre, outer, a) for a in turns])


class Patch:
    """A piece of the panel, drawn large."""

    def __init__(self, box: Box) -> None:
        self.box = box
        self._image = Image.new("L", ((box[2] - box[0]) * SAMPLES, (box[3] - box[1]) * SAMPLES))
        self._draw = ImageDraw.Draw(self._image)

    def _large(self, points: Sequence[Point]) -> list[tuple[int, int]]:
        # Pillow cuts fractions off towards zero, which would move corners left of the patch or above it
        left, top = self.box[0] * SAMPLES, self.box[1] * SAMPLES
        return [(floor(x * SAMPLES) - left, floor(y * SAMPLES) - top) for x, y in points]

    def polygon(self, points: Sequence[Point], fill: int = 255) -> None:
        """Fill a polygon."""
        self._draw.polygon(self._large(points), fill=fill)

    def area(self, left: float, top: float, right: float, bottom: float, radius: float = 0.0) -> None:
        """Fill an upright rectangle whose corners may be round."""
        (left, top), (right, bottom) = self._large([(left, top), (right, bottom)])
        if left < right and top < bottom:
            self._draw.rounded_rectangle((left, top, right - 1, bottom - 1), radius * SAMPLES, fill=255)

    def disc(self, centre: Point, radius: float, fill: int = 255) -> None:
        """Fill a circle; one that has no size is none."""
        (x, y), reach = self._large([centre])[0], radius * SAMPLES
        if reach >= 0:
            self._draw.ellipse((x - reach, y - reach, x + reach, y + reach), fill=fill)

    def line(self, points: Sequence[Point], width: float) -> None:
        """Draw a line through points that lie close together; its bends are left as they come."""
        self._draw.line(self._large(points), fill=255, width=round(width * SAMPLES))

    def mask(self) -> Image.Image:
        """Return what was drawn, reduced to the panel's pixels."""
        return self._image.reduce(SAMPLES)
