"""A panel that is mounted at an angle: the picture is turned before it goes out."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, cos, floor, radians, sin

from PIL import Image

from ..round import Box, common
from . import Panel, Tended

SUPPORT_PX = 2
"""How far bicubic resampling looks around."""


class TurnedPanel:
    """Shows images turned about the panel's middle, and only the part that changed.

    Args:
        panel: the device.
        clockwise_deg: by how much the picture is turned, any angle; the bracket is turned the other way.
    """

    def __init__(self, panel: Panel, clockwise_deg: float) -> None:
        self._panel = panel
        angle = clockwise_deg % 360.0
        self._straight = angle % 90.0 == 0.0
        # exact at right angles, where the sine of a float is not
        self._sin = float(round(sin(radians(angle)))) if self._straight else sin(radians(angle))
        self._cos = float(round(cos(radians(angle)))) if self._straight else cos(radians(angle))
        self._sideways = 45.0 < angle % 180.0 < 135.0
        self._shown = Image.new("RGB", panel.size)

    @property
    def size(self) -> tuple[int, int]:
        """Pixels across and down as the driver sees it."""
        width, height = self._panel.size
        return (height, width) if self._sideways else (width, height)

    def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
        """Turn what changed and pass it on."""
        turned = [box for box in map(self._landing, boxes) if box is not None]
        for box in turned:
            self._shown.paste(self._piece(image, box), box[:2])
        if turned:
            self._panel.show(self._shown, turned)

    def dim(self, level: float) -> None:
        """Pass the light on."""
        self._panel.dim(level)

    def tend(self) -> None:
        """Look after the device, if it wants that."""
        if isinstance(self._panel, Tended):
            self._panel.tend()

    def close(self) -> None:
        """Give the device back."""
        self._panel.close()

    def _landing(self, box: Box) -> Box | None:
        """Return where the pixels of a box can land on the panel."""
        (width, height), (own_x, own_y) = self.size, self._panel.size
        corners = [(x - width / 2, y - height / 2) for x in (box[0], box[2]) for y in (box[1], box[3])]
        xs = [x * self._cos - y * self._sin + own_x / 2 for x, y in corners]
        ys = [x * self._sin + y * self._cos + own_y / 2 for x, y in corners]
        more = 0 if self._straight else SUPPORT_PX
        outer = floor(min(xs)) - more, floor(min(ys)) - more, ceil(max(xs)) + more, ceil(max(ys)) + more
        return common(outer, (0, 0, own_x, own_y))

    def _piece(self, image: Image.Image, box: Box) -> Image.Image:
        """Return what belongs into a box of the panel."""
        (width, height), (own_x, own_y) = self.size, self._panel.size
        x, y = box[0] - own_x / 2, box[1] - own_y / 2
        back = (
            *(self._cos, self._sin, x * self._cos + y * self._sin + width / 2),
            *(-self._sin, self._cos, -x * self._sin + y * self._cos + height / 2),
        )
        how = Image.Resampling.NEAREST if self._straight else Image.Resampling.BICUBIC
        return image.transform((box[2] - box[0], box[3] - box[1]), Image.Transform.AFFINE, back, how)
