"""The round panel on a model of its controller."""

from __future__ import annotations

import math
from typing import Any

import luma.core.render
import pytest
from PIL import Image, ImageDraw

from underdash import PanelDriver, UnderdashError
from underdash.drivers import PanelModel, WiredPanel, dcs, pack, unpack
from underdash.testing import brought, load_plugin
from underdash_round_panel import opened
from underdash_round_panel.controller import Gc9a01, begun
from underdash_round_panel.settings import SIZE, Settings
from underdash_round_panel.tables import VARIANTS, commands

WHOLE = (0, 0, *SIZE)
VENDOR_FROM = 0x60
"""Commands of the maker begin here; those below are the common ones."""


def panel(model: PanelModel, **settings: Any) -> WiredPanel:
    made = Settings(**settings)
    return WiredPanel(SIZE, model.wire, lambda wire: begun(wire, made))


def sixteen(image: Image.Image) -> bytes:
    return unpack(pack(image), image.size).tobytes()


def card() -> Image.Image:
    """Something that looks different from every side, in every order of colours and as a negative."""
    image = Image.new("RGB", SIZE, (16, 32, 48))
    draw = ImageDraw.Draw(image)
    for n, colour in enumerate(((255, 0, 0), (0, 255, 0), (0, 0, 255))):
        draw.rectangle((60 + 30 * n, 55, 80 + 30 * n, 55 + 20 * (n + 1)), fill=colour)
    draw.line((30, 60, 200, 230), fill=(255, 255, 255))
    return image


def needle(degrees: float) -> tuple[Image.Image, tuple[int, int, int, int]]:
    """A needle and the box that it is in, cut off at odd places."""
    image = Image.new("RGB", SIZE)
    x, y = 120 + 100 * math.cos(math.radians(degrees)), 120 + 100 * math.sin(math.radians(degrees))
    ImageDraw.Draw(image).line((120, 120, x, y), fill=(255, 140, 20), width=5)
    box = image.getbbox()
    assert box is not None
    return image, box


def test_the_plugin_brings_a_driver_whose_light_is_the_cores() -> None:
    (driver,) = brought(load_plugin("underdash_round_panel"), "panel_drivers")
    assert isinstance(driver, PanelDriver)
    assert (driver.name, driver.settings, driver.turns, driver.dims) == ("round_panel", Settings, False, False)
    device = driver.opened({"size": SIZE, "rotation": 0.0, "settings": Settings()})
    assert isinstance(device, WiredPanel)
    assert device.size == SIZE
    device.close()


def test_another_size_is_refused() -> None:
    with pytest.raises(UnderdashError, match=r"has size = \[240, 240\], not \(320, 240\)"):
        opened({"size": (320, 240), "settings": Settings()})


@pytest.mark.parametrize("variant", ["A", "B"])
def test_a_picture_stands_upright_in_its_colours(variant: str) -> None:
    model = PanelModel.gc9a01()
    panel(model, variant=variant).show(card(), [WHOLE])
    assert model.seen().tobytes() == sixteen(card())


@pytest.mark.parametrize("variant", ["A", "B"])
def test_no_snow_shows_before_the_first_picture(variant: str) -> None:
    model = PanelModel.gc9a01()
    begun(model.wire(), Settings(variant="A" if variant == "A" else "B"))
    assert model.on
    assert model.seen().getbbox() is None
    said = model.commands
    assert said.index(dcs.RAMWR) < said.index(dcs.DISPON)
    assert said.count(dcs.SLPOUT) == 1
    assert model.now > 0.02 + 0.15 + 0.12


@pytest.mark.parametrize("variant", ["A", "B"])
def test_a_moving_needle_arrives_box_by_box(variant: str) -> None:
    model = PanelModel.gc9a01()
    shown, before = panel(model, variant=variant), WHOLE
    for degrees in (150, 153, 161, 200, 275, 20, 20.5):
        image, box = needle(degrees)
        sent = model.sent
        shown.show(image, [before, box])
        assert model.seen().tobytes() == sixteen(image)
        assert degrees == 150 or model.sent - sent < 2 * 240 * 240
        before = box


@pytest.mark.parametrize(
    "box", [(0, 0, 1, 1), (1, 3, 4, 8), (239, 239, 240, 240), (0, 117, 240, 118), (233, 0, 240, 5), (101, 55, 116, 232)]
)
def test_boxes_at_odd_columns_and_at_the_edges(box: tuple[int, int, int, int]) -> None:
    model = PanelModel.gc9a01()
    shown, expected = panel(model, chunk_bytes=64), Image.new("RGB", SIZE)
    shown.show(expected, [WHOLE])
    shown.show(card(), [box])
    expected.paste(card().crop(box), box[:2])
    assert model.seen().tobytes() == sixteen(expected)


def test_modules_that_are_made_otherwise_are_met_by_settings() -> None:
    red, green, blue = unpack(pack(card()), SIZE).split()
    looks = {
        "mirrored": unpack(pack(card()), SIZE).transpose(Image.Transpose.FLIP_LEFT_RIGHT),
        "bgr": Image.merge("RGB", (blue, green, red)),
    }
    for setting, look in looks.items():
        model = PanelModel.gc9a01()
        panel(model, **{setting: True}).show(card(), [WHOLE])
        assert model.seen().tobytes() == look.tobytes()
    model = PanelModel.gc9a01()
    panel(model, inverted=False).show(Image.new("RGB", SIZE), [WHOLE])
    assert model.seen().getpixel((120, 120)) == (255, 255, 255)


@pytest.mark.parametrize("after", [0, 1, 7, 300, 30_000])
def test_after_an_error_in_the_middle_of_a_picture_it_is_begun_anew(after: int) -> None:
    model = PanelModel.gc9a01()
    shown = panel(model)
    shown.show(Image.new("RGB", SIZE), [WHOLE])
    model.break_after = after
    with pytest.raises(UnderdashError, match="SPI does not take what is sent"):
        shown.show(card(), [WHOLE])
    assert model.closed, "the lines are free for the next try"
    shown.show(card(), [WHOLE])
    assert model.seen().tobytes() == sixteen(card())


@pytest.mark.parametrize("after", [3, 200])
def test_an_error_while_it_is_set_up_gives_the_wire_back(after: int) -> None:
    model = PanelModel.gc9a01()
    shown = panel(model)
    model.break_after = after
    with pytest.raises(UnderdashError):
        shown.show(card(), [WHOLE])
    assert model.closed
    shown.show(card(), [WHOLE])
    assert model.on


def test_it_goes_dark_and_sleeps_when_it_is_given_back() -> None:
    model = PanelModel.gc9a01()
    shown = panel(model)
    shown.show(card(), [WHOLE])
    shown.close()
    assert model.commands[-2:] == [dcs.DISPOFF, dcs.SLPIN]
    assert not model.on
    assert model.closed


def test_what_draws_on_lumas_devices_draws_on_it() -> None:
    model = PanelModel.gc9a01()
    device = Gc9a01(model.wire(), Settings())
    with luma.core.render.canvas(device) as draw:
        draw.rectangle((10, 20, 100, 60), fill=(255, 0, 0))
    assert model.seen().getpixel((11, 21)) == (248, 0, 0)
    device.contrast(20)
    device.hide()
    assert not model.on
    device.show()
    assert model.seen().getpixel((11, 21)) == (248, 0, 0)


@pytest.mark.parametrize("variant", ["A", "B"])
def test_each_table_arrives_whole_and_tells_no_common_command(variant: str) -> None:
    model = PanelModel.gc9a01()
    begun(model.wire(), Settings(variant="A" if variant == "A" else "B"))
    table = VARIANTS[variant].commands
    assert [code for code, _ in table] == [code for code in model.commands if code >= VENDOR_FROM]
    last = dict(table)
    assert all(model.registers[code] == parameters for code, parameters in last.items() if parameters)
    assert model.registers[dcs.COLMOD] == bytes([dcs.RGB565])


def test_families_are_never_mixed() -> None:
    """The row of MADCTL goes with B6: 08 with 00 20, 48 without."""
    scans = {name: dict(variant.commands).get(0xB6) for name, variant in VARIANTS.items()}
    assert scans == {"A": b"\x00\x20", "B": None}
    assert {name: variant.madctl for name, variant in VARIANTS.items()} == {"A": 0x08, "B": 0x48}


def test_a_table_is_read_with_its_remarks() -> None:
    assert commands("FE\n  EB 14  # a remark\n\n") == ((0xFE, b""), (0xEB, b"\x14"))
