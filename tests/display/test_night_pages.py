"""How much light the shipped pages give at night, and that red and amber are left to what warns."""

from __future__ import annotations

from math import hypot

import pytest
from PIL import Image

from underdash.contract.signals import Quality
from underdash.display.deck import find
from underdash.display.kit import draw_page
from underdash.display.light import bright_share, candela, mean_luminance
from underdash.display.palettes import Palette, night
from underdash.display.round import Face
from underdash.signals.store import Rank
from underdash.wiring.assembly import assemble, choose_car, load_bundled

SIZE = 240
COOL = night(200)
NORMAL = {
    "engine.manifold_pressure": 140.0,
    "ambient.pressure": 101.3,
    "gearbox.oil_temperature": 85.0,
    "engine.oil_temperature": 95.0,
    "engine.coolant_temperature": 90.0,
    "engine.charge_temperature": 38.0,
}
NIGHT_MEAN = 0.05
"""Most that a page may have at night, of the panel's white; 15 cd/m2 at a white of 300 before it is dimmed."""


def drawn(page: str, palette: Palette = COOL, **other: float) -> Image.Image:
    """A page at night with normal values, but for some."""
    car, loaded = choose_car("tarn", load_bundled())
    assembly = assemble(car, loaded)
    values = {**NORMAL, **{name.replace("__", "."): value for name, value in other.items()}}
    for name, value in values.items():
        assembly.store.slot(name, "given", Rank.GIVEN, period_s=0.1).put(value, Quality.GOOD, 1.0)
    assembly.derived.step(1.0)
    snapshot = assembly.snapshot(1.0, night=True)
    return draw_page(find(assembly.pages, page, "test"), snapshot, size=(SIZE, SIZE), palette=palette)


def alarming(image: Image.Image, palette: Palette = COOL) -> list[float]:
    """How far from the middle, as shares of half the panel, pixels in the colours of caution and warning are."""
    pixels, half = image.load(), SIZE / 2
    assert pixels is not None
    return [
        hypot(x + 0.5 - half, y + 0.5 - half) / half
        for x in range(SIZE)
        for y in range(SIZE)
        if pixels[x, y] in (palette.caution, palette.warning)
    ]


@pytest.mark.parametrize("page", ["boost", "temperatures"])
@pytest.mark.parametrize("hue", [0, 60, 120, 200, 240, 300])
def test_a_page_at_night_gives_little_light(page: str, hue: int) -> None:
    image, visible = drawn(page, night(hue)), Face(SIZE, SIZE).mask()
    mean = mean_luminance(image, visible)
    assert 0.002 < mean < NIGHT_MEAN
    assert candela(mean) < 15.0
    assert bright_share(image, 0.5, visible) < 0.1


def test_nothing_is_red_or_amber_while_all_is_well() -> None:
    assert alarming(drawn("boost")) == []


def test_zones_are_hairlines_at_the_rim() -> None:
    places = alarming(drawn("temperatures"))
    assert places
    assert min(places) > 0.9


def test_the_band_takes_the_colour_of_the_zone_the_value_is_in() -> None:
    places = alarming(drawn("temperatures", gearbox__oil_temperature=128.0))
    assert min(places) < 0.85
