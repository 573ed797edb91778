"""Panels: one file a driver. A panel takes finished images and knows nothing of pages."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Sequence

    from PIL import Image

    from ..round import Box


class Panel(Protocol):
    """A device that shows images."""

    @property
    def size(self) -> tuple[int, int]:
        """Pixels across and down."""

    def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
        """Show an image of which only `boxes` differ from the last one.

        The image is painted on again after the call returns: take what is needed before that.
        """

    def dim(self, level: float) -> None:
        """Set the light, 0 (dark) to 1, in linear light as a backlight's duty cycle."""

    def close(self) -> None:
        """Go dark and give the device back."""
