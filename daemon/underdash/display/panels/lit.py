"""Panels that cannot dim by themselves: lit from behind by the core, or dimmed by scaling their colours."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence

from PIL import Image

from ..backlight import Light
from ..round import Box
from . import Panel
from .picture import scaled


class BacklitPanel:
    """A panel with a light of its own behind it.

    Args:
        panel: the device.
        light: dark until it is dimmed for the first time.
    """

    def __init__(self, panel: Panel, light: Light) -> None:
        self._panel = panel
        self._light = light

    @property
    def size(self) -> tuple[int, int]:
        """Pixels across and down."""
        return self._panel.size

    def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
        """Pass the image on."""
        self._panel.show(image, boxes)

    def dim(self, level: float) -> None:
        """Set the light."""
        self._light.set(level)

    def close(self) -> None:
        """Go dark first, then give both back."""
        # a light that is gone must not keep the device open
        with contextlib.suppress(Exception):
            self._light.close()
        self._panel.close()


class ScaledPanel:
    """A panel whose light cannot be changed: its colours are scaled, so black stays as it is.

    Args:
        panel: the device.
    """

    def __init__(self, panel: Panel) -> None:
        self._panel = panel
        self._bright = Image.new("RGB", panel.size)
        self._dimmed = self._bright.copy()
        self._level = 0.0

    @property
    def size(self) -> tuple[int, int]:
        """Pixels across and down."""
        return self._panel.size

    def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
        """Show the boxes in the light that is set."""
        for box in boxes:
            tile = image.crop(box)
            self._bright.paste(tile, box[:2])
            self._dimmed.paste(scaled(tile, self._level), box[:2])
        self._panel.show(self._dimmed, boxes)

    def dim(self, level: float) -> None:
        """Show everything again in another light."""
        if level != self._level:
            self._level = level
            self._dimmed = scaled(self._bright, level)
            self._panel.show(self._dimmed, [(0, 0, *self.size)])

    def close(self) -> None:
        """Go black, since nothing else makes it dark, and give the device back."""
        with contextlib.suppress(Exception):
            self._panel.show(Image.new("RGB", self.size), [(0, 0, *self.size)])
        self._panel.close()
