"""The panels of luma.lcd by name: it sets their controllers up, and what changed goes out in windows.

luma's own way sends three bytes a pixel, and an ST7789 everything each time. Turning and light are the core's.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Literal

from ...contract.errors import GivenError
from ...contract.plugin import Limits
from ..round import Box
from .dcs import BGR, COLMOD, INVOFF, INVON, MADCTL, RGB565, RGB666
from .wire import SpiSettings, Wire, open_wire
from .wired import Put, WiredPanel, windows

if TYPE_CHECKING:
    from PIL.Image import Image

Size = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Controller:
    """What has to be known of a controller beyond what luma.lcd does.

    Args:
        memory: columns and rows, in the direction in which luma sets it up: lying.
        sizes: of the panels that luma knows; none where it takes any.
        colmod: pixels that go over SPI; None where only luma's own way of drawing fits.
    """

    memory: Size
    sizes: tuple[Size, ...] = ()
    colmod: int | None = RGB565


CONTROLLERS = {
    "ili9341": Controller((320, 240), ((320, 240), (240, 240), (320, 180))),
    # its modules put a shift register in front, which luma knows
    "ili9486": Controller((320, 480), ((320, 480),), None),
    # takes no 16 bits a pixel over SPI
    "ili9488": Controller((480, 320), ((480, 320),), RGB666),
    "st7735": Controller((162, 132), ((160, 128), (128, 128), (160, 80))),
    "st7789": Controller((320, 240)),
}
ST7789_MADCTL = 0x70
"""What luma sends; it has no parameter for the order of colours."""


@dataclass(frozen=True, kw_only=True)
class LcdSettings(SpiSettings):
    """Settings of the panels of luma.lcd.

    Args:
        device: the controller.
        h_offset: columns before the panel's first one in the controller's memory.
        v_offset: rows before it.
        bgr: red and blue are the other way about.
        inverted: whether inversion is on; None leaves it as luma has it. A negative asks for the other.
    """

    device: Literal["ili9341", "ili9486", "ili9488", "st7735", "st7789"]
    h_offset: Annotated[int, Limits(low=0, high=320, unit="pixels")] = 0
    v_offset: Annotated[int, Limits(low=0, high=320, unit="pixels")] = 0
    bgr: bool = False
    inverted: bool | None = None


def lcd_panel(settings: LcdSettings, size: Size, *, opened: Callable[[SpiSettings], Wire] = open_wire) -> WiredPanel:
    """Return a panel of luma.lcd.

    Args:
        settings: which one.
        size: pixels across and down, lying.
        opened: opens the wire.

    Raises:
        GivenError: the controller has no such size.
    """
    amiss = misfit(settings, size)
    if amiss:
        raise GivenError(amiss)
    return WiredPanel(size, lambda: opened(settings), lambda wire: _begun(wire, settings, size))


def misfit(settings: LcdSettings, size: Size) -> str:
    """Say why a panel of this size cannot be the controller's, "" if it can."""
    controller = CONTROLLERS[settings.device]
    if controller.sizes and size not in controller.sizes:
        there = " or ".join(f"[{across}, {down}]" for across, down in controller.sizes)
        return f"{settings.device} panels have size = {there}, not [{size[0]}, {size[1]}]; `rotation` turns them"
    (across, down), offset = controller.memory, (settings.h_offset, settings.v_offset)
    if size[0] + offset[0] > across or size[1] + offset[1] > down:
        return (
            f"{settings.device}: size [{size[0]}, {size[1]}] with h_offset {offset[0]} and v_offset {offset[1]} is "
            f"more than its memory of {across}x{down}; write the size as the panel lies, `rotation` turns it"
        )
    return ""


def _begun(wire: Wire, settings: LcdSettings, size: Size) -> Put:
    """Have luma set the controller up, and put right what it has no parameter for."""
    import luma.lcd.device as lcd

    wire.reset()
    options: dict[str, Any] = {"width": size[0], "height": size[1], "backlight": _no_light}
    if settings.device != "st7789":
        options |= {"h_offset": settings.h_offset, "v_offset": settings.v_offset, "bgr": settings.bgr}
    device = getattr(lcd, settings.device)(wire, **options)
    # at the end of the program luma would switch it off over a wire that is closed by then
    device.persist = True
    if settings.device == "st7789" and settings.bgr:
        wire.register(MADCTL, ST7789_MADCTL | BGR)
    if settings.inverted is not None:
        wire.command(INVON if settings.inverted else INVOFF)
    colmod = CONTROLLERS[settings.device].colmod
    if colmod is None:
        return _whole(device)
    wire.register(COLMOD, colmod)
    return windows(wire, sixteen_bits=colmod == RGB565, offset=(settings.h_offset, settings.v_offset))


def _whole(device: Any) -> Put:
    """Return luma's own way: it compares whole images and sends the parts that differ."""

    def put(image: Image, boxes: Sequence[Box]) -> None:
        device.display(image.copy())

    return put


def _no_light(on: bool) -> None:
    """Stand in for luma's backlight: the light is the core's."""
