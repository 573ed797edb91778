"""The GC9A01 as a device of luma.core, so that whatever draws on luma's devices draws on it; luma.lcd has none."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from luma.core.device import device

from underdash.drivers import Box, Put, Wire, dcs, windows

from .settings import SIZE, Settings
from .tables import VARIANTS

if TYPE_CHECKING:
    from PIL.Image import Image


class Gc9a01(device):  # type: ignore[misc]
    """A round panel, set up and black.

    Args:
        wire: to the controller; luma calls it a serial interface.
        settings: how the module was made.
    """

    def __init__(self, wire: Wire, settings: Settings) -> None:
        super().__init__(serial_interface=wire)
        self.capabilities(*SIZE, rotate=0, mode="RGB")
        # at the end of the program luma would switch it off over a wire that is closed by then
        self.persist = True
        self._wire = wire
        self._windows = windows(wire)
        self._set_up(settings)

    def display(self, image: Image) -> None:
        """Show a whole image of 240x240 pixels."""
        self.put(image, [(0, 0, *SIZE)])

    def put(self, image: Image, boxes: Sequence[Box]) -> None:
        """Show an image of which only the boxes differ from the last."""
        self._windows(image, boxes)

    def command(self, *cmd: int) -> None:
        """Send a command and its parameters."""
        self._wire.register(*cmd)

    def contrast(self, level: int) -> None:
        """Do nothing: the controller's own setting drives a pin that modules do not wire to their light."""

    def show(self) -> None:
        """Switch the glass on."""
        self.command(dcs.DISPON)

    def hide(self) -> None:
        """Switch the glass off; it keeps its picture."""
        self.command(dcs.DISPOFF)

    def _set_up(self, settings: Settings) -> None:
        variant = VARIANTS[settings.variant]
        self._wire.reset()
        if variant.wakes_first:
            self.command(dcs.SLPOUT)
        for code, parameters in variant.commands:
            self.command(code, *parameters)
        madctl = variant.madctl ^ (dcs.BGR if settings.bgr else 0) ^ (dcs.COLUMNS_BACK if settings.mirrored else 0)
        self.command(dcs.MADCTL, madctl)
        self.command(dcs.COLMOD, dcs.RGB565)
        # modules of this kind show true colours with inversion on (TFT, ADA always send it)
        self.command(dcs.INVON if settings.inverted else dcs.INVOFF)
        if not variant.wakes_first:
            self.command(dcs.SLPOUT)
        # its memory holds whatever came with the power; black first, so that no snow shows
        self.clear()
        self.show()


def begun(wire: Wire, settings: Settings) -> Put:
    """Set the controller up and return what brings images to it."""
    return Gc9a01(wire, settings).put
