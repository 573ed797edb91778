"""Where things are on a page, and the field they are set into.

Heights are offsets from the field's middle in units, the pixels of a panel that is 240 pixels high; they grow with it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt
from typing import NamedTuple

from ..contract.pages import Role
from .columns import ColumnSpot
from .figure import FigureSpot
from .fonts import CAP_HEIGHT
from .lamps import LampSpot
from .round import Box
from .rows import RowSpot
from .sweep import Ring


class Line(NamedTuple):
    """A line of text that stands still: middle of its digits or left end, baseline side up.

    `part` says what it belongs to where it informs ("sentence", "remark", "list"); an alert's has no role.
    """

    text: str
    weight: str
    px: int
    x: float
    top: int
    role: Role | None
    centred: bool = True
    part: str = ""


@dataclass(slots=True)
class Layout:
    """Places of everything on a page; `dropped` are labels of rows that could not be read, and are left out."""

    ring: Ring | None = None
    figure: FigureSpot | None = None
    strip: Box | None = None
    rows: tuple[RowSpot, ...] = ()
    columns: tuple[ColumnSpot, ...] = ()
    lamps: tuple[LampSpot, ...] = ()
    lines: list[Line] = field(default_factory=list)
    banner_top: int | None = None
    dropped: tuple[str, ...] = ()


class Field(NamedTuple):
    """A part of a panel.

    Attributes:
        x, y: its middle in pixels.
        unit: pixels a unit.
        half: pixels to either side of the middle.
        circle: radius of the round panel around the middle, None where there is none.
        clear: height of the middle and radius of the circle inside which a sweep leaves room.
        least: height that digits of rows need to be read, in pixels.
    """

    x: float
    y: float
    unit: float
    half: float
    circle: float | None = None
    clear: tuple[float, float] | None = None
    least: int = 7

    def room(self, y: float, px: float, *, inside: bool = False) -> float:
        """Return how far from the middle a line of `px` units at height `y` may reach, in pixels."""
        reach = px * CAP_HEIGHT / 2 * self.unit
        return self.room_between(self.y + y * self.unit - reach, self.y + y * self.unit + reach, inside=inside)

    def room_between(self, top: float, bottom: float, *, inside: bool = False) -> float:
        """Return the same between two heights in pixels."""
        half = self.half
        if self.circle is not None:
            half = min(half, _chord(self.circle, max(abs(top - self.y), abs(bottom - self.y))))
        if inside and self.clear is not None:
            middle, radius = self.clear
            half = min(half, _chord(radius, max(abs(top - middle), abs(bottom - middle))))
        return half

    def px(self, px: float) -> int:
        """Return a font size in pixels."""
        return max(7, round(px * self.unit))


def _chord(radius: float, reach: float) -> float:
    return sqrt(max(radius * radius - reach * reach, 0.0))
