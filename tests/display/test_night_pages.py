"""How much light the shipped pages give at night, and that red and amber are left to what warns."""

from __future__ import annotations

import json
from math import hypot

import pytest
from PIL import Image

from underdash.config.reading import parse_config
from underdash.contract.pages import Page, Role
from underdash.contract.signals import Quality
from underdash.display.deck import find
from underdash.display.fonts import Fonts
from underdash.display.kit import draw_page
from underdash.display.light import BRIGHT_SHARE, NIGHT_MEAN
from underdash.display.palettes import Palette, night
from underdash.display.recorder import record
from underdash.display.round import Face
from underdash.signals.store import Rank
from underdash.wiring.assembly import Assembly, assemble, choose_car, load_bundled
from underdash.wiring.building import assembled
from underdash.wiring.lighting import light_of
from underdash.wiring.made_up import made_up, ordinary
from underdash.wiring.status_page import News, StatusPage

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


PLUGINS = ["boost", "temperatures", "ignition_timing", "battery", "traction_battery", "values"]
FACES = {
    "round": Face(240, 240),
    "small": Face(128, 128),
    "square": Face(480, 480, False),
    "wide": Face(320, 240, False),
    "upright": Face(240, 320, False),
}


def pages_of(car: str) -> list[tuple[Assembly, Page]]:
    """Every bundled page on this car, the values page with four values, and the status page."""
    values = "".join(
        f'[[plugin.values.pages.four.values]]\nsignal = "engine.{name}"\nlow = {low}\nhigh = {high}\n'
        for name, low, high in (
            ("speed", 0.0, 7000.0),
            ("load", 0.0, 100.0),
            ("oil_temperature", 0.0, 150.0),
            ("charge_temperature", 0.0, 80.0),
        )
    )
    text = f'format = 1\n[car]\nname = "{car}"\n[plugins]\nenabled = {json.dumps([car, *PLUGINS])}\n'
    assembly = assembled(parse_config(f'{text}[power]\nsupply = "switched"\n{values}', "made_up.toml"))
    status = StatusPage()
    status.news = News("all is well", Role.INK, (("buses", "2/2 heard", Role.INK), ("key", "on", Role.INK)))
    return [(assembly, page) for page in (*assembly.pages, status.page)]


@pytest.mark.parametrize("face", FACES.values(), ids=FACES)
@pytest.mark.parametrize("car", ["tarn", "loris"])
@pytest.mark.parametrize("hue", [0, 120, 200, 240])
def test_every_shipped_page_gives_little_light_at_night(car: str, face: Face, hue: int) -> None:
    fonts = Fonts()
    found = pages_of(car)
    assert len(found) >= len(PLUGINS) + 1
    for assembly, page in found:
        picture = record(page, made_up(assembly, page, ordinary(assembly, page)), (face.width, face.height))
        mean, bright = light_of(picture, face, night(hue), fonts)
        assert 0.001 < mean < min(NIGHT_MEAN, 0.06), page.name
        # a doubt in caution colour has to be read from the seat, and takes some three parts in a hundred
        assert bright < 0.035, page.name


def test_whatever_the_values_hardly_anything_is_bright_at_night() -> None:
    face, fonts = FACES["round"], Fonts()
    for assembly, page in pages_of("tarn"):
        for share in (0.0, 0.25, 0.75, 1.0):
            picture = record(page, made_up(assembly, page, share), (240, 240))
            mean, bright = light_of(picture, face, night(200), fonts)
            assert mean < 0.1, (page.name, share)
            assert bright < BRIGHT_SHARE, (page.name, share)


def test_nothing_is_red_or_amber_while_all_is_well() -> None:
    assert alarming(drawn("boost")) == []


def test_zones_are_hairlines_at_the_rim() -> None:
    places = alarming(drawn("temperatures"))
    assert places
    assert min(places) > 0.9


def test_the_band_takes_the_colour_of_the_zone_the_value_is_in() -> None:
    places = alarming(drawn("temperatures", gearbox__oil_temperature=128.0))
    assert min(places) < 0.85
