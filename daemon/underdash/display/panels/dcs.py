"""Commands that controllers of small panels share: those of the MIPI Display Command Set (DCS).

The numbers are in the open too, in the Linux kernel's ``include/video/mipi_display.h``. Vendors add their own beside.
"""

from __future__ import annotations

from struct import pack as packed
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..round import Box
    from .wire import Wire

SWRESET, SLPIN, SLPOUT = 0x01, 0x10, 0x11
INVOFF, INVON = 0x20, 0x21
DISPOFF, DISPON = 0x28, 0x29
CASET, RASET, RAMWR, RAMWRC = 0x2A, 0x2B, 0x2C, 0x3C
MADCTL, COLMOD = 0x36, 0x3A

ROWS_BACK, COLUMNS_BACK, EXCHANGED, BGR = 0x80, 0x40, 0x20, 0x08
"""Bits of MADCTL: rows and columns counted from their other end, both exchanged, blue first."""

RGB565, RGB666 = 0x55, 0x66
"""Values of COLMOD: two bytes a pixel; three, with the colour in the upper six bits of each."""

WAITS = {SWRESET: 0.12, SLPIN: 0.12, SLPOUT: 0.12, DISPON: 0.02}
"""Seconds to leave a controller alone after a command. 120 ms: what it asks for from sleep to waking and back, and
after a reset that found it awake. 20 ms: what drivers leave it to switch on."""


def begin_box(wire: Wire, box: Box, offset: tuple[int, int] = (0, 0)) -> None:
    """Have the pixels that follow go into a box, row by row.

    Args:
        wire: to the controller.
        box: in pixels of the panel; its end is inclusive for the controller.
        offset: of the panel's first pixel in the controller's memory.
    """
    (left, top, right, bottom), (x, y) = box, offset
    wire.register(CASET, *packed(">HH", left + x, right + x - 1))
    wire.register(RASET, *packed(">HH", top + y, bottom + y - 1))
    wire.command(RAMWR)
