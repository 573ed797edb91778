"""The picture a panel should show, the one it shows, and the frames from one to the other (PROTOCOL.md section 5)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from underdash.drivers import Box, pack

from .codes import Colours, codes
from .framing import MOST_PAYLOAD
from .messages import Kind, Message

if TYPE_CHECKING:
    from PIL.Image import Image


class Pixels:
    """Two pictures in RGB565 and where they may differ.

    Args:
        size: pixels across and down.
    """

    def __init__(self, size: tuple[int, int]) -> None:
        self._size = size
        self._wanted = bytearray(2 * size[0] * size[1])
        self.forget()

    def forget(self) -> None:
        """Begin anew with a controller whose picture is black."""
        self._shown = bytearray(len(self._wanted))
        self._colours = Colours()
        self._boxes: list[Box] = [(0, 0, *self._size)]

    def take(self, image: Image, boxes: Sequence[Box]) -> None:
        """Take over the boxes of an RGB image of the panel's size."""
        for box in boxes:
            pixels, across = pack(image.crop(box)), 2 * (box[2] - box[0])
            for row, begin in enumerate(self._rows(box)):
                self._wanted[begin : begin + across] = pixels[row * across : (row + 1) * across]
            self._boxes.append(box)

    def messages(self) -> Iterator[Message]:
        """Yield what makes the panel show what it should; each one has to arrive, and in this order."""
        said = False
        while self._boxes:
            for message in self._rectangle(self._boxes.pop(0)):
                said = True
                yield message
        if said:
            yield Kind.SHOW, b""

    def _rectangle(self, box: Box) -> Iterator[Message]:
        across = 2 * (box[2] - box[0])
        rows = list(self._rows(box))
        new = b"".join(self._wanted[begin : begin + across] for begin in rows)
        old = b"".join(self._shown[begin : begin + across] for begin in rows)
        if new == old:
            return
        for begin in rows:
            self._shown[begin : begin + across] = self._wanted[begin : begin + across]
        sides = box[0], box[1], box[2] - box[0], box[3] - box[1]
        kind, payload = Kind.RECTANGLE, bytearray(b"".join(side.to_bytes(2, "big") for side in sides))
        for code in codes(new, old, across // 2, self._colours):
            if len(payload) + len(code) > MOST_PAYLOAD:
                yield kind, bytes(payload)
                kind, payload = Kind.MORE, bytearray()
            payload += code
        yield kind, bytes(payload)

    def _rows(self, box: Box) -> range:
        """Return where each row of a box begins."""
        width = 2 * self._size[0]
        return range(width * box[1] + 2 * box[0], width * box[3] + 2 * box[0], width)
