"""The panels of luma.lcd on models of their controllers, and against luma's own way of sending."""

from __future__ import annotations

import atexit
from collections.abc import Callable
from typing import Any

import luma.lcd.device as lcd
import pytest
from PIL import Image, ImageDraw

from underdash.config.mistakes import ConfigError, Source
from underdash.config.structure import check_settings
from underdash.contract.errors import GivenError, UnderdashError
from underdash.display.elements import Picture
from underdash.display.kit import Painter
from underdash.display.panels.lcd import CONTROLLERS, LcdSettings, lcd_panel
from underdash.display.panels.model import PanelModel
from underdash.display.panels.wired import WiredPanel
from underdash.display.rgb565 import pack, unpack
from underdash.display.round import Face

SIZE = 240, 240
MODELS = {"st7789": PanelModel.st7789, "ili9341": PanelModel.ili9341}


def upright(model: PanelModel, size: tuple[int, int] = SIZE, offset: tuple[int, int] = (0, 0)) -> Image.Image:
    """What the glass shows, turned as luma means it: lying, with the first column at the upper edge of the glass."""
    across, down = size
    seen = model.held().transpose(Image.Transpose.ROTATE_90)
    left, bottom = offset[0], seen.height - offset[1]
    return seen.crop((left, bottom - down, left + across, bottom)) if seen.size != size else seen


def panel(device: str, model: PanelModel, size: tuple[int, int] = SIZE, **settings: Any) -> WiredPanel:
    return lcd_panel(LcdSettings(device=device, **settings), size, opened=lambda _: model.wire())  # type: ignore[arg-type]


def sixteen(image: Image.Image) -> bytes:
    return unpack(pack(image), image.size).tobytes()


def card(size: tuple[int, int] = SIZE) -> Image.Image:
    """Something that looks different from every side, in every order of colours and as a negative."""
    image = Image.new("RGB", size, (16, 32, 48))
    draw = ImageDraw.Draw(image)
    for n, colour in enumerate(((255, 0, 0), (0, 255, 0), (0, 0, 255))):
        draw.rectangle((10 + 30 * n, 5, 30 + 30 * n, 5 + 20 * (n + 1)), fill=colour)
    draw.line((0, 0, size[0] - 1, size[1] - 1), fill=(255, 255, 255))
    return image


@pytest.mark.parametrize("device", ["st7789", "ili9341"])
def test_moving_needles_arrive_as_they_were_painted(device: str, boost_picture: Callable[..., Picture]) -> None:
    model = MODELS[device]()
    shown, painter = panel(device, model), Painter(Face(*SIZE))
    for step, value in enumerate((0.1, 0.13, 0.5, -0.3, 1.5, 1.47)):
        image, boxes = painter.paint(boost_picture(value, now=100.0 + step / 25))
        before = model.sent
        shown.show(image, boxes)
        assert upright(model, SIZE, (0, 0)).tobytes() == sixteen(image)
        assert model.on
        assert step == 0 or model.sent - before < 2 * 240 * 240
    shown.close()
    assert not model.on
    assert model.closed


@pytest.mark.parametrize(
    "box", [(0, 0, 1, 1), (1, 3, 4, 8), (239, 239, 240, 240), (0, 117, 240, 118), (233, 0, 240, 5)]
)
def test_boxes_at_odd_places_and_at_the_edges(box: tuple[int, int, int, int]) -> None:
    model = PanelModel.st7789()
    shown, black = panel("st7789", model), Image.new("RGB", SIZE)
    shown.show(black, [(0, 0, *SIZE)])
    shown.show(card(), [box])
    black.paste(card().crop(box), box[:2])
    assert upright(model).tobytes() == sixteen(black)


def test_boxes_beyond_the_panel_are_cut() -> None:
    model = PanelModel.st7789()
    shown = panel("st7789", model)
    shown.show(card(), [(-5, -5, 300, 300), (300, 0, 310, 5)])
    assert upright(model).tobytes() == sixteen(card())


@pytest.mark.parametrize("device", ["st7789", "ili9341"])
def test_luma_itself_shows_the_same_and_sends_more(device: str) -> None:
    ours, theirs = MODELS[device](), MODELS[device]()
    shown = panel(device, ours)
    wire = theirs.wire()
    wire.reset()
    peer = getattr(lcd, device)(wire, width=240, height=240, backlight=lambda on: None)
    peer.persist = True
    atexit.unregister(peer.cleanup)
    image = card()
    shown.show(image, [(0, 0, *SIZE)])
    peer.display(image)
    six_bits = bytes(value & 0xFC for value in image.tobytes())
    assert upright(theirs).tobytes() == six_bits
    assert upright(ours).tobytes() == sixteen(image)
    begun_ours, begun_theirs = ours.sent, theirs.sent
    image.putpixel((17, 33), (255, 255, 255))
    shown.show(image, [(17, 33, 18, 34)])
    peer.display(image)
    assert ours.sent - begun_ours == 13, "three commands, two windows' ends, one pixel"
    assert theirs.sent - begun_theirs > 13
    assert upright(theirs).getpixel((17, 33)) == (252, 252, 252)


def test_a_larger_memory_is_met_by_offsets() -> None:
    model = PanelModel.st7789((240, 320))
    size, offset = (280, 200), (20, 30)
    shown = panel("st7789", model, size, h_offset=20, v_offset=30)
    shown.show(card(size), [(0, 0, *size)])
    seen = model.held().transpose(Image.Transpose.ROTATE_90)
    box = (offset[0], offset[1], offset[0] + size[0], offset[1] + size[1])
    assert seen.crop(box).tobytes() == sixteen(card(size))


@pytest.mark.parametrize(("device", "bgr", "inverted"), [("st7789", True, None), ("ili9341", True, False)])
def test_modules_with_other_colours_are_met_by_settings(device: str, bgr: bool, inverted: bool | None) -> None:
    model = MODELS[device]()
    shown = panel(device, model, bgr=bgr, inverted=inverted)
    shown.show(card(), [(0, 0, *SIZE)])
    red, green, blue = unpack(pack(card()), SIZE).split()
    assert upright(model).tobytes() == Image.merge("RGB", (blue, green, red)).tobytes()


def test_inversion_can_be_set() -> None:
    model = PanelModel.st7789()
    shown = panel("st7789", model, inverted=False)
    shown.show(Image.new("RGB", SIZE), [(0, 0, *SIZE)])
    assert upright(model).getpixel((0, 0)) == (255, 255, 255)


def test_a_controller_that_luma_has_to_draw_on_shows_it_too() -> None:
    sent: list[int] = []
    shown = panel("ili9486", model := PanelModel.ili9486(), (320, 480))
    for colour in ((255, 255, 255), (255, 255, 255), (0, 0, 0)):
        before = model.sent
        shown.show(Image.new("RGB", (320, 480), colour), [(0, 0, 320, 480)])
        sent.append(model.sent - before)
        assert model.seen().getcolors() == [(320 * 480, tuple(value & 0xFC for value in colour))]
    assert sent[1] == 0, "it compares by itself"
    assert sent[2] > 320 * 480 * 3


@pytest.mark.parametrize("after", [0, 1, 300, 5_000])
def test_after_an_error_it_is_begun_anew_and_shows_the_whole_image(after: int) -> None:
    model = PanelModel.st7789()
    shown = panel("st7789", model)
    shown.show(Image.new("RGB", SIZE), [(0, 0, *SIZE)])
    model.break_after = after
    with pytest.raises(UnderdashError, match=r"SPI does not take what is sent .Input/output error.; it is begun anew"):
        shown.show(card(), [(0, 0, *SIZE)])
    assert model.closed
    shown.show(card(), [(0, 0, *SIZE)])
    assert upright(model).tobytes() == sixteen(card())


def test_closing_a_panel_that_never_showed_anything_opens_nothing() -> None:
    model = PanelModel.st7789()
    panel("st7789", model).close()
    assert model.sent == 0


def test_closing_over_a_broken_wire_gives_it_back() -> None:
    model = PanelModel.st7789()
    shown = panel("st7789", model)
    shown.show(card(), [(0, 0, *SIZE)])
    model.break_after = 0
    shown.close()
    assert model.closed


@pytest.mark.parametrize(
    ("device", "size", "settings", "says"),
    [
        ("ili9341", (240, 320), {}, r"ili9341 panels have size = \[320, 240\] or .*`rotation` turns them"),
        ("st7789", (240, 320), {}, "more than its memory of 320x240"),
        ("st7789", (240, 240), {"h_offset": 81}, "h_offset 81 and v_offset 0"),
    ],
)
def test_sizes_that_a_controller_does_not_have_are_refused(
    device: str, size: tuple[int, int], settings: dict[str, Any], says: str
) -> None:
    with pytest.raises(GivenError, match=says):
        panel(device, PanelModel.st7789(), size, **settings)


def test_a_misspelt_controller_is_met_with_the_nearest() -> None:
    with pytest.raises(ConfigError, match=r"st7798.*st7789"):
        check_settings(LcdSettings, {"device": "st7798"}, Source("mine.toml"), ("panel", "main", "settings"))


def test_every_controller_is_one_of_lumas_and_takes_the_sizes_that_are_given_for_it() -> None:
    for name, controller in CONTROLLERS.items():
        assert hasattr(lcd, name)
        for size in controller.sizes:
            columns, rows = controller.memory
            model = PanelModel.ili9486() if name == "ili9486" else PanelModel((rows, columns))
            shown = panel(name, model, size)
            shown.show(card(size), [(0, 0, *size)])
            shown.close()
