"""The face of a panel: its size, whether it is round, and how wide it is at a height."""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from PIL import Image

Box = tuple[int, int, int, int]
"""Left, top, right, bottom in pixels; right and bottom lie outside, as Pillow counts."""

MASK_SAMPLES = 4


class Face(NamedTuple):
    """A panel's visible surface; what lies outside a round one is never lit.

    Args:
        width, height: pixels.
        round: whether it is.
        least_px: height of digits that can be read from where it is seen; None where that is not known.
    """

    width: int
    height: int
    round: bool = True
    least_px: int | None = None

    @property
    def readable_px(self) -> int:
        """How high a row's digits have to be to be shown; where nobody measured, what is a speck on any panel."""
        return max(7, round(0.05 * min(self.width, self.height))) if self.least_px is None else self.least_px

    @property
    def centre(self) -> tuple[float, float]:
        """The middle, in pixels."""
        return self.width / 2, self.height / 2

    @property
    def unit(self) -> float:
        """How much larger than the 240 pixels that sizes are given for the shorter side is."""
        return min(self.width, self.height) / 240.0

    @property
    def box(self) -> Box:
        """The whole panel."""
        return 0, 0, self.width, self.height

    def half_width(self, top: float, bottom: float, radius: float | None = None) -> float:
        """Return how far from the middle a line between two heights may reach, in pixels.

        Args:
            top, bottom: heights in pixels from the panel's upper edge.
            radius: stay inside this circle too, such as the inner edge of a band.
        """
        half = self.width / 2 - 2.0
        middle = self.centre[1]
        reach = max(abs(top - middle), abs(bottom - middle))
        if self.round:
            half = min(half, _chord(min(self.width, self.height) / 2 - 2.0, reach))
        if radius is not None:
            half = min(half, _chord(radius, reach))
        return half

    def mask(self) -> Image.Image | None:
        """Return what is visible as an 8-bit mask, None for a rectangular panel."""
        if not self.round:
            return None
        from PIL import Image, ImageDraw

        n = MASK_SAMPLES
        large = Image.new("L", (self.width * n, self.height * n))
        radius = min(self.width, self.height) / 2 * n
        x, y = self.centre[0] * n, self.centre[1] * n
        ImageDraw.Draw(large).ellipse((x - radius, y - radius, x + radius - 1, y + radius - 1), fill=255)
        return large.reduce(n)


def _chord(radius: float, reach: float) -> float:
    return sqrt(max(radius * radius - reach * reach, 0.0))


def union(a: Box, b: Box) -> Box:
    """Return the smallest box around two."""
    return min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3])


def common(a: Box, b: Box) -> Box | None:
    """Return where two boxes overlap, None where they do not."""
    box = max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3])
    return box if box[0] < box[2] and box[1] < box[3] else None


def area(box: Box) -> int:
    """Return the pixels in a box."""
    return (box[2] - box[0]) * (box[3] - box[1])


def merged(boxes: list[Box]) -> list[Box]:
    """Join boxes where one around both costs hardly more pixels than the two."""
    result: list[Box] = []
    for box in boxes:
        joined = box
        again = True
        while again:
            again = False
            for other in result:
                whole = union(joined, other)
                if area(whole) <= 1.15 * (area(joined) + area(other)):
                    result.remove(other)
                    joined, again = whole, True
                    break
        result.append(joined)
    return result
