"""A template on paper, one to one, for cutting the opening of a panel and drilling its holes: an SVG in millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin

MARGIN_MM = 8.0
RULER_MM = 50.0
LINE_MM = 0.2
TEXT_MM = 3.2
FOOT_MM = 34.0
WORDS = (
    "Measure the line above before cutting: it has to be 50 mm. Print at 100 %.",
    "Keep panel and cable clear of airbags and of where they unfold,",
    "of the driver's view, and of pedals and controls.",
)


@dataclass(frozen=True, slots=True)
class Mounting:
    """Measures of a panel in millimetres.

    Args:
        lit: width and height of what lights up; equal on a round one.
        outline: width and height of the module's edge.
        round: both are circles (ellipses where width and height differ).
        holes: how many, evenly about the middle, the first at the upper right.
        hole_circle: diameter of the circle they are on.
        hole: their diameter.
    """

    lit: tuple[float, float]
    outline: tuple[float, float]
    round: bool = True
    holes: int = 0
    hole_circle: float = 0.0
    hole: float = 2.2


def template(one: Mounting) -> str:
    """Return the template as SVG; it prints one to one, since its size is in millimetres."""
    width = max(one.outline[0], one.hole_circle + one.hole, RULER_MM, TEXT_MM * 33) + 2 * MARGIN_MM
    tall = max(one.outline[1], one.hole_circle + one.hole)
    height = tall + 2 * MARGIN_MM + FOOT_MM
    x, y = width / 2, MARGIN_MM + 4.0 + tall / 2
    parts = [
        _shape(one.outline, (x, y), one.round, ""),
        _shape(one.lit, (x, y), one.round, ' stroke-dasharray="1 1"'),
        _line(x - 5, y, x + 5, y),
        _line(x, y - 5, x, y + 5),
        *_up(x, y - tall / 2 - 1.0),
        *_holes(one, (x, y)),
        *_foot((width - RULER_MM) / 2, y + tall / 2 + 10.0, x),
    ]
    body = "\n  ".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}" fill="none" stroke="#000" stroke-width="{LINE_MM:g}">\n  {body}\n</svg>\n'
    )


def _shape(size: tuple[float, float], middle: tuple[float, float], is_round: bool, dashes: str) -> str:
    (across, down), (x, y) = size, middle
    if is_round:
        return f'<ellipse cx="{x:g}" cy="{y:g}" rx="{across / 2:g}" ry="{down / 2:g}"{dashes}/>'
    return f'<rect x="{x - across / 2:g}" y="{y - down / 2:g}" width="{across:g}" height="{down:g}"{dashes}/>'


def _line(x: float, y: float, to_x: float, to_y: float) -> str:
    return f'<path d="M{x:g} {y:g}L{to_x:g} {to_y:g}"/>'


def _up(x: float, y: float) -> list[str]:
    arrow = f'<path d="M{x - 2:g} {y:g}L{x:g} {y - 4:g}L{x + 2:g} {y:g}Z" fill="#000"/>'
    return [arrow, _text(x + 6, y - 0.5, "up", "start")]


def _holes(one: Mounting, middle: tuple[float, float]) -> list[str]:
    found = []
    for number in range(one.holes):
        angle = 2 * pi * (number + 0.5) / one.holes
        x = middle[0] + one.hole_circle / 2 * sin(angle)
        y = middle[1] - one.hole_circle / 2 * cos(angle)
        found.append(f'<circle cx="{x:.3f}" cy="{y:.3f}" r="{one.hole / 2:g}"/>')
    return found


def _foot(left: float, top: float, middle: float) -> list[str]:
    ticks = [_line(left + step, top - 2, left + step, top) for step in (0, 10, 20, 30, 40, 50)]
    words = [_text(middle, top + 6 + 5 * number, text, "middle") for number, text in enumerate(WORDS)]
    return [_line(left, top, left + RULER_MM, top), *ticks, *words]


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-family="sans-serif" font-size="{TEXT_MM:g}" text-anchor="{anchor}" '
        f'fill="#000" stroke="none">{text}</text>'
    )
