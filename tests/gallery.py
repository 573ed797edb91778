"""The pictures in the README: four pages to begin with, and every page by day and by night on three shapes of panels;
and mounting templates for a round and a square panel.

Run: python tests/gallery.py, or make gallery; they take the place of those in the README.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from math import cos
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

from PIL import Image

from underdash.config.reading import parse_config
from underdash.contract.pages import Page, Role
from underdash.contract.signals import Quality
from underdash.display.deck import find
from underdash.display.kit import draw_page
from underdash.display.mounting import Mounting, template
from underdash.display.palettes import DAY, night
from underdash.signals.store import Rank
from underdash.wiring.building import assembled
from underdash.wiring.status_page import News, StatusPage

PICTURE = Path(__file__).parents[1] / "plugins" / "pages.png"
OPENING = PICTURE.with_name("opening.png")
FIRST = (("boost", False), ("temperatures", False), ("boost", True), ("traction_battery", True))
"""Pages of the opening picture, and whether it is night."""
TEMPLATES = {shape: PICTURE.with_name(f"mount_{shape}.svg") for shape in ("round", "square")}
MOUNTED = {"round": ((32.4, 32.4), (37.4, 37.4)), "square": ((27.7, 27.7), (32.7, 32.7))}
"""Millimetres of what lights up and of the module's edge on usual panels (common practice): measure yours."""
SHAPES = ((240, 240, True), (240, 240, False), (320, 240, False))
"""Pixels across and down, and whether the panel is round."""
GAP = 12
GROUND = (58, 60, 62)
STEPS = 400
LAST_S = 30.0
CONFIG = """
format = 1
[car]
name = "{car}"
[units]
kPa = "bar"
[plugins]
enabled = ["{car}", "boost", "temperatures", "ignition_timing", "battery", "traction_battery", "values"]
[power]
supply = "switched"
[plugin.values.pages.engine]
title = "engine speed"
[[plugin.values.pages.engine.values]]
signal = "engine.speed"
low = 0.0
high = 7000.0
warning = 6200.0
[[plugin.values.pages.engine.values]]
signal = "vehicle.speed"
label = "speed"
[[plugin.values.pages.engine.values]]
signal = "engine.coolant_temperature"
label = "coolant"
"""


class View(NamedTuple):
    """A page with values in stored units; `moving` ones have come from somewhere, for the line of recent history."""

    page: str
    car: str
    values: Mapping[str, float]
    moving: Mapping[str, float] = MappingProxyType({})


VIEWS = (
    View(
        "boost",
        "tarn",
        {"engine.manifold_pressure": 173.3, "ambient.pressure": 101.3},
        {"engine.manifold_pressure": 22.0},
    ),
    View(
        "temperatures",
        "tarn",
        {
            "gearbox.oil_temperature": 104.0,
            "engine.oil_temperature": 109.0,
            "engine.coolant_temperature": 92.0,
            "engine.charge_temperature": 38.0,
        },
    ),
    View(
        "ignition_timing",
        "tarn",
        {"engine.ignition_timing": 18.5, "engine.knock_retard": 1.5, "engine.load": 64.0},
    ),
    View("battery", "tarn", {"low_voltage_battery.voltage": 14.1, "engine.speed": 1800.0}),
    View(
        "traction_battery",
        "loris",
        {
            "traction_battery.charge": 62.0,
            "traction_battery.voltage": 221.0,
            "traction_battery.current": -48.0,
            "traction_battery.temperature_highest": 31.0,
            "traction_battery.cell_voltage_highest": 3.71,
            "traction_battery.cell_voltage_lowest": 3.69,
        },
    ),
    View("engine", "tarn", {"engine.speed": 3400.0, "vehicle.speed": 87.0, "engine.coolant_temperature": 92.0}),
    View("status", "tarn", {}),
)


def _status() -> Page:
    status = StatusPage()
    lines = (("buses", "2/2 heard"), ("key", "on"), ("requests", "12/s"), ("values", "8/8"))
    status.news = News("all is well", Role.INK, tuple((label, text, Role.INK) for label, text in lines))
    return status.page


def view(one: View) -> list[list[Image.Image]]:
    """Draw a page as if its values had just been measured: a row by day, a row by night, a picture for each shape."""
    assembly = assembled(parse_config(CONFIG.format(car=one.car), "gallery"))
    slots = {name: assembly.store.slot(name, "given", Rank.GIVEN, period_s=0.1) for name in one.values}
    for step in range(STEPS + 1):
        now = step * LAST_S / STEPS
        for name, value in one.values.items():
            before = one.moving.get(name, 0.0) * (1.0 - cos((now - LAST_S) / 4.0))
            slots[name].put(value - before, Quality.GOOD, now)
        assembly.derived.step(now)
    page = _status() if one.page == "status" else find(assembly.pages, one.page, "gallery")
    return [
        [
            draw_page(
                page,
                assembly.snapshot(now, night=palette is not DAY),
                size=(across, down),
                palette=palette,
                round=is_round,
            )
            for across, down, is_round in SHAPES
        ]
        for palette in (DAY, night())
    ]


def gallery() -> Image.Image:
    """Return all views one under the other: what a page shows by day, and below it the same by night."""
    rows = [row for one in VIEWS for row in view(one)]
    wide = sum(shape[0] for shape in SHAPES) + GAP * (len(SHAPES) + 1)
    sheet = Image.new("RGB", (wide, len(rows) * (SHAPES[0][1] + GAP) + GAP), GROUND)
    for number, row in enumerate(rows):
        left = GAP
        for image in row:
            sheet.paste(image, (left, GAP + number * (SHAPES[0][1] + GAP)))
            left += image.width + GAP
    return sheet


def opening() -> Image.Image:
    """Return a few pages on a round panel, side by side."""
    views = {one.page: one for one in VIEWS}
    across, down, _ = SHAPES[0]
    sheet = Image.new("RGB", (len(FIRST) * (across + GAP) + GAP, down + 2 * GAP), GROUND)
    for number, (page, at_night) in enumerate(FIRST):
        sheet.paste(view(views[page])[at_night][0], (GAP + number * (across + GAP), GAP))
    return sheet


def mounting(shape: str) -> str:
    """Return the mounting template of a usual panel, round or square, one to one."""
    lit, outline = MOUNTED[shape]
    return template(Mounting(lit, outline, shape == "round"))


def main() -> int:
    """Write the pictures and the templates."""
    for path, image in ((PICTURE, gallery()), (OPENING, opening())):
        image.save(path, optimize=True)
        print(path)
    for shape, path in TEMPLATES.items():
        path.write_text(mounting(shape), encoding="utf-8")
        print(path)
    return 0


if __name__ == "__main__":
    sys.exit(main())
