"""A panel that is a picture: in memory, or a PNG file that is replaced on every change."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from ...contract.errors import UnderdashError
from ..round import Box, area

GAMMA = 2.2


@dataclass(frozen=True, kw_only=True)
class PictureSettings:
    """Settings of the picture panel.

    Args:
        file: where it is kept as PNG, relative to the configuration's folder; only in memory if left out.
    """

    file: str = ""


class PicturePanel:
    """Keeps what a real panel would show.

    Args:
        size: pixels across and down.
        file: where to keep it as PNG; only in memory if None.

    Attributes:
        frames: how many images were shown.
        pixels: how many pixels they changed, which is what a wire would have carried.
    """

    def __init__(self, size: tuple[int, int] = (240, 240), file: Path | None = None) -> None:
        self._size = size
        self._file = file
        self._level = 1.0
        self._shown = Image.new("RGB", size)
        self.frames = 0
        self.pixels = 0

    @property
    def size(self) -> tuple[int, int]:
        """Pixels across and down."""
        return self._size

    @property
    def level(self) -> float:
        """The light set last."""
        return self._level

    def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
        """Take over the boxes of an image.

        Raises:
            UnderdashError: the file cannot be written.
        """
        for box in boxes:
            self._shown.paste(image.crop(box), box[:2])
            self.pixels += area(box)
        self.frames += 1
        self._keep()

    def dim(self, level: float) -> None:
        """Set the light by scaling the colours; raises UnderdashError if the file cannot be written."""
        level = min(max(level, 0.0), 1.0)
        if level != self._level:
            self._level = level
            self._keep()

    def seen(self) -> Image.Image:
        """Return what an eye sees: the image in the light that is set."""
        return scaled(self._shown, self._level)

    def close(self) -> None:
        """Leave the last picture where it is."""

    def _keep(self) -> None:
        if self._file is None:
            return
        half_done = self._file.with_name(self._file.name + ".part")
        try:
            self.seen().save(half_done, "PNG")
            # whoever looks at the file finds the old picture or the new one, never half of one
            os.replace(half_done, self._file)
        except OSError as exc:
            raise UnderdashError(
                f"panel picture: {self._file} cannot be written ({exc.strerror or exc}); choose a folder that exists "
                "and belongs to you with [panel.<name>] file."
            ) from exc


def scaled(image: Image.Image, level: float) -> Image.Image:
    """Return an image in less light, for panels whose backlight cannot be dimmed.

    Args:
        image: an RGB image.
        level: 0..1 in linear light; colours are scaled by its root, as the display's gamma asks.
    """
    if level >= 1.0:
        return image.copy()
    factor = level ** (1 / GAMMA)
    return image.point([round(value * factor) for value in range(256)] * 3)
