"""A panel at the end of a wire: it is begun when there is something to show, and anew after an error."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from ...contract.errors import UnderdashError
from ..rgb565 import pack
from ..round import Box, common
from .dcs import DISPOFF, SLPIN, begin_box
from .wire import Wire

if TYPE_CHECKING:
    from PIL.Image import Image

Put = Callable[["Image", Sequence[Box]], None]
"""Brings the boxes of an image to the controller."""


class WiredPanel:
    """Shows images on a controller that speaks the MIPI Display Command Set.

    Nothing is opened before the first image, so that making one takes no time.

    Args:
        size: pixels across and down.
        opened: opens the wire.
        begun: resets and sets up the controller, with its memory black, and returns what brings images to it.
    """

    def __init__(self, size: tuple[int, int], opened: Callable[[], Wire], begun: Callable[[Wire], Put]) -> None:
        self._size = size
        self._opened = opened
        self._begun = begun
        self._wire: Wire | None = None
        self._put: Put | None = None

    @property
    def size(self) -> tuple[int, int]:
        """Pixels across and down."""
        return self._size

    def show(self, image: Image, boxes: Sequence[Box]) -> None:
        """Show an image of which only the boxes differ from the last.

        Raises:
            UnderdashError: the wire cannot be opened, or does not take what is sent; the whole image is due again.
        """
        whole = (0, 0, *self._size)
        inside = [part for part in (common(box, whole) for box in boxes) if part is not None]
        try:
            self._ready()(image, inside)
        except OSError as exc:
            self._drop()
            raise UnderdashError(f"SPI does not take what is sent ({exc.strerror or exc}); it is begun anew") from exc
        except BaseException:
            self._drop()
            raise

    def dim(self, level: float) -> None:
        """Do nothing: the light is the core's."""

    def close(self) -> None:
        """Go dark, have the controller sleep, and give the wire back."""
        wire = self._wire
        if wire is not None:
            with contextlib.suppress(OSError):
                wire.command(DISPOFF)
                wire.command(SLPIN)
        self._drop()

    def _ready(self) -> Put:
        if self._put is None:
            self._wire = self._opened()
            self._put = self._begun(self._wire)
        return self._put

    def _drop(self) -> None:
        wire, self._wire, self._put = self._wire, None, None
        if wire is not None:
            with contextlib.suppress(OSError):
                wire.cleanup()


def windows(wire: Wire, *, sixteen_bits: bool = True, offset: tuple[int, int] = (0, 0)) -> Put:
    """Return what brings only the boxes, each into a window of its own.

    Args:
        wire: to the controller.
        sixteen_bits: RGB565, two bytes a pixel; else three bytes, red, green and blue.
        offset: of the panel's first pixel in the controller's memory.
    """

    def put(image: Image, boxes: Sequence[Box]) -> None:
        for box in boxes:
            tile = image.crop(box)
            begin_box(wire, box, offset)
            wire.data(pack(tile) if sixteen_bits else tile.tobytes())

    return put
