"""The picture in the README: pages drawn by the project from given values, side by side.

Run: python tests/gallery.py [picture]; without a path it replaces the one in the README.
"""

from __future__ import annotations

import sys
from math import cos
from pathlib import Path

from PIL import Image

from underdash.contract.signals import Quality
from underdash.display.deck import find
from underdash.display.kit import draw_page
from underdash.display.palettes import DAY, night
from underdash.signals.store import Rank
from underdash.wiring.assembly import assemble, choose_car, load_bundled

PICTURE = Path(__file__).parents[1] / "plugins" / "pages.png"
SIZE = 320
GAP = 12
GROUND = (58, 60, 62)
STEPS = 400
LAST_S = 30.0

TEMPERATURES = {
    "gearbox.oil_temperature": 104.0,
    "engine.oil_temperature": 109.0,
    "engine.coolant_temperature": 92.0,
    "engine.charge_temperature": 38.0,
}
#: page, night, values in stored units, quality of the reference
VIEWS: tuple[tuple[str, bool, dict[str, float], Quality], ...] = (
    ("boost", False, {"engine.manifold_pressure": 173.3, "ambient.pressure": 101.3}, Quality.GOOD),
    ("boost", True, {"engine.manifold_pressure": 60.3, "ambient.pressure": 101.3}, Quality.GOOD),
    ("boost", False, {"engine.manifold_pressure": 178.6, "ambient.pressure": 84.6}, Quality.ASSUMED),
    ("temperatures", True, TEMPERATURES, Quality.GOOD),
)


def view(page: str, at_night: bool, values: dict[str, float], reference: Quality) -> Image.Image:
    """Draw one page as if these values had just been measured."""
    car, loaded = choose_car("tarn", load_bundled())
    assembly = assemble(car, loaded, units={"kPa": "bar"})
    slots = {name: assembly.store.slot(name, "given", Rank.GIVEN, period_s=0.1) for name in values}
    for step in range(STEPS + 1):
        now = step * LAST_S / STEPS
        for name, value in values.items():
            quality = reference if name == "ambient.pressure" else Quality.GOOD
            slots[name].put(value - _history(name, now), quality, now)
        assembly.derived.step(now)
    snapshot = assembly.snapshot(now, night=at_night)
    palette = night() if at_night else DAY
    return draw_page(find(assembly.pages, page, "gallery"), snapshot, size=(SIZE, SIZE), palette=palette)


def _history(name: str, now: float) -> float:
    """Let manifold pressure have come from somewhere, for the thin line of recent history."""
    if name != "engine.manifold_pressure":
        return 0.0
    return 22.0 * (1.0 - cos((now - LAST_S) / 4.0))


def gallery() -> Image.Image:
    """Return all views in a row."""
    sheet = Image.new("RGB", (len(VIEWS) * (SIZE + GAP) + GAP, SIZE + 2 * GAP), GROUND)
    for index, one in enumerate(VIEWS):
        sheet.paste(view(*one), (GAP + index * (SIZE + GAP), GAP))
    return sheet


def main() -> int:
    """Write the picture."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURE
    gallery().save(path, optimize=True)
    print(path)
    return 0


if __name__ == "__main__":
    sys.exit(main())
