"""Panels: one file a driver. A panel takes finished images and knows nothing of pages.

One that draws by itself (`SelfDrawing`) is told what the page says instead of getting images.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, runtime_checkable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from PIL import Image

    from ...contract.content import Content
    from ..round import Box


class Device(Protocol):
    """What every panel can do."""

    @property
    def size(self) -> tuple[int, int]:
        """Pixels across and down."""

    def dim(self, level: float) -> None:
        """Set the light, 0 (dark) to 1, in linear light as a backlight's duty cycle."""

    def close(self) -> None:
        """Go dark and give the device back."""


@runtime_checkable
class Panel(Device, Protocol):
    """A device that shows images."""

    def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
        """Show an image of which only `boxes` differ from the last one.

        The image is painted on again after the call returns: take what is needed before that.
        """


@runtime_checkable
class SelfDrawing(Device, Protocol):
    """A device that draws by itself."""

    def tell(self, content: Content) -> None:
        """Take what the page says now; it differs from what was told last."""


@runtime_checkable
class Tended(Protocol):
    """A device that has to be looked after, such as one that can lose its picture while nothing changes."""

    def tend(self) -> None:
        """Do what is due; called often, in place of `show` or `tell` while there is nothing new.

        Raises:
            Exception: it no longer shows what it was given; everything is shown again.
        """
