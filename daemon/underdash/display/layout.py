"""Where things go: a pure function of what a page shows and the panel's face.

The order of importance: the figure first; a doubt or an alert takes the foot from the history; the title steps back.
A round panel has a dial, an upright one has it above the rest; a wide and a square one have an arch over their width.
"""

from __future__ import annotations

from .dial import Dial
from .elements import Picture
from .fonts import Fonts
from .places import Field, Layout, Line
from .round import Face
from .setting import Setter
from .sweep import Ring

NEARLY_SQUARE = 1.15
EDGE_PX = 2.0

__all__ = ["Layout", "Line", "arrange"]


def arrange(picture: Picture, face: Face, fonts: Fonts) -> Layout:
    """Return where the elements of a picture go."""
    layout = Layout()
    if face.round or face.height > NEARLY_SQUARE * face.width:
        _arranged_round(picture, face, fonts, layout)
    else:
        _arranged_wide(picture, face, fonts, layout)
    return layout


def _arranged_round(picture: Picture, face: Face, fonts: Fonts, layout: Layout) -> None:
    u, half = face.unit, face.width / 2 - EDGE_PX
    x, y = face.centre
    upright = not face.round
    if upright:
        y = face.width / 2
    clear = None
    if picture.sweep is not None:
        layout.ring = Ring.around((x, y), u)
        clear = y, layout.ring.clear
    circle = min(face.width, face.height) / 2 - EDGE_PX if face.round else None
    end = (face.height - y) / u if upright else 120.0
    Dial(Setter(picture, fonts, Field(x, y, u, half, circle, clear, face.readable_px), layout), end).arrange()


def _arranged_wide(picture: Picture, face: Face, fonts: Fonts, layout: Layout) -> None:
    # a round panel's first page does not wait for these
    from .square import Square
    from .wide import HIGH, LONG, LONG_HIGH, LONG_RISE, RISE, Wide, halves

    x, y = face.centre
    long = face.width > LONG * face.height
    high, rise = (LONG_HIGH, LONG_RISE) if long else (HIGH, RISE)
    square = face.width <= NEARLY_SQUARE * face.height
    u = min(face.height / high, face.width / (240.0 if square else 300.0))
    clear = None
    if picture.sweep is not None:
        edge, ends = 5.0 * u, y + (5.0 + rise - high / 2) * u
        ring = layout.ring = Ring.over((edge, ends), (face.width - edge, ends), rise * u, u)
        clear = ring.centre[1], ring.clear
    field = Field(x, y, u, face.width / 2 - 6.0 * u, None, clear, face.readable_px)
    setter = Setter(picture, fonts, field, layout)
    page = Square(setter) if square else Wide(setter, *halves(field), long=long)
    page.arrange()
