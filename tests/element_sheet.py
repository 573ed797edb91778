"""The picture in DEVELOPERS.md: what a page can be made of, on round, wide and upright panels.

Run: python tests/element_sheet.py [picture]; without a path it replaces the one in the documentation.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from math import sin
from pathlib import Path

from PIL import Image

from underdash.contract.pages import Canvas, Page, Role, Scale, Zone
from underdash.contract.signals import Age, Quality, Reading, Snapshot
from underdash.display.kit import draw_page
from underdash.display.palettes import DAY, night

PICTURE = Path(__file__).parents[1] / "plugins" / "elements.png"
GAP = 10
GROUND = (58, 60, 62)
BOOST = Scale(-0.8, 1.6, 0.0, (Zone(1.2, 1.4, Role.CAUTION), Zone(1.4, 1.6, Role.WARNING)))
OIL = Scale(0.0, 150.0, 0.0, (Zone(120.0, 130.0, Role.CAUTION), Zone(130.0, 150.0, Role.WARNING)))
KNOCK = Scale(0.0, 8.0, 0.0, (Zone(3.0, 5.0, Role.CAUTION), Zone(5.0, 8.0, Role.WARNING)))
HISTORY = tuple((30.0 - i / 4, 0.4 + 0.5 * sin(i / 9)) for i in range(120))


def reading(
    shown: float | None, unit: str, digits: int, age: Age = Age.FRESH, quality: Quality = Quality.GOOD
) -> Reading:
    """Return a value."""
    return Reading("x", shown, shown, unit, digits, age, 0.0, quality, "made up")


def sweep(canvas: Canvas) -> None:
    """A sweep with its peak and average, a figure, a strip."""
    canvas.title("boost")
    canvas.sweep(reading(0.72, "bar", 2), BOOST, peak=1.1, average=0.3)
    canvas.figure(reading(0.72, "bar", 2), signed=True)
    canvas.strip(HISTORY, BOOST, seconds=30.0)


def doubt(canvas: Canvas) -> None:
    """A late, saturated value and a remark."""
    late = reading(1.31, "bar", 2, Age.LATE, Quality.ABOVE)
    canvas.title("boost")
    canvas.sweep(late, BOOST, peak=1.45)
    canvas.figure(late, signed=True)
    canvas.remark("reference assumed")


def rows(canvas: Canvas) -> None:
    """A figure above rows."""
    canvas.title("gearbox oil")
    canvas.sweep(reading(104.0, "°C", 0), OIL)
    canvas.figure(reading(104.0, "°C", 0))
    three = (("engine oil", 109.0, Role.INK), ("coolant", 92.0, Role.INK), ("charge air", 68.0, Role.CAUTION))
    canvas.rows(tuple((label, reading(value, "°C", 0), role) for label, value, role in three))


def columns(canvas: Canvas) -> None:
    """Columns side by side."""
    canvas.title("knock")
    for number, value in enumerate((0.5, 2.0, 5.5, 3.2), 1):
        canvas.column(f"{number}", reading(value, "°", 1), KNOCK, peak=value + 1.0, average=value * 0.6)


def lamps(canvas: Canvas) -> None:
    """Lamps: lit, dark, and one nobody knows of."""
    canvas.title("states")
    canvas.lamp("glow plugs", True, Role.CAUTION)
    canvas.lamp("fan", True)
    canvas.lamp("heater", False)
    canvas.lamp("pump", None)


def listed(canvas: Canvas) -> None:
    """A list of short lines."""
    canvas.title("journey")
    lines = (("2 buses heard", Role.INK), ("14 requests/s", Role.SOFT), ("oil has no source", Role.CAUTION))
    canvas.list((*lines, ("ignition on", Role.INK)))


def sentence(canvas: Canvas) -> None:
    """A sentence in place of a figure."""
    canvas.title("status")
    canvas.sentence("bus comfort is silent: wake the car, check the plug", Role.CAUTION)


VIEWS: tuple[tuple[tuple[Callable[[Canvas], None], tuple[int, int], bool], ...], ...] = (
    ((sweep, (240, 240), False), (doubt, (240, 240), False), (rows, (240, 240), True), (columns, (240, 240), False)),
    ((lamps, (240, 240), False), (listed, (240, 240), False), (sentence, (240, 240), False), (lamps, (240, 240), True)),
    ((sweep, (320, 240), False), (rows, (320, 240), False), (columns, (320, 240), True)),
)
"""Rows of: what is drawn, size, at night."""


def sheet() -> Image.Image:
    """Return all views."""
    width = max(sum(size[0] + GAP for _, size, _ in row) for row in VIEWS) + GAP
    height = sum(max(size[1] for _, size, _ in row) + GAP for row in VIEWS) + GAP
    image, y = Image.new("RGB", (width, height), GROUND), GAP
    for row in VIEWS:
        x = GAP
        for draw, size, at_night in row:
            page = Page("x", "x", lambda canvas, snapshot, draw=draw: draw(canvas), ())  # type: ignore[misc]
            palette = night() if at_night else DAY
            view = draw_page(page, Snapshot(0.0, {}), size=size, palette=palette, round=size[0] == size[1])
            image.paste(view, (x, y))
            x += size[0] + GAP
        y += max(size[1] for _, size, _ in row) + GAP
    return image


def main() -> int:
    """Write the picture."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURE
    sheet().save(path, optimize=True)
    print(path)
    return 0


if __name__ == "__main__":
    sys.exit(main())
