"""The panel as the core knows it: one that gets pixels, and one that is told what the page says."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from underdash import Content, UnderdashError
from underdash.drivers import Box

from .link import Link
from .messages import Kind, Message, light
from .pixels import Pixels
from .values import Values

if TYPE_CHECKING:
    from PIL.Image import Image


class SerialPanel:
    """What both have in common.

    Args:
        size: pixels across and down.
        link: the way to the controller.
        subject: what it should show.
    """

    def __init__(self, size: tuple[int, int], link: Link, subject: Pixels | Values) -> None:
        self.size = size
        self._link = link
        self._subject = subject
        self._wanted_level = self._level = 0.0

    def dim(self, level: float) -> None:
        """Set the light, 0 (dark) to 1."""
        self._wanted_level = level
        self._bring()

    def tend(self) -> None:
        """Keep the line alive; a controller that started anew gets everything again."""
        if self._ready():
            self._bring()
        try:
            self._link.look()
        except UnderdashError:
            self._bring()

    def close(self) -> None:
        """Go dark and give the line back."""
        self._link.close()

    def _ready(self) -> bool:
        """Have a controller that listens; return whether it has to be told everything."""
        new = self._link.ensure()
        if new:
            self._subject.forget()
            self._level = 0.0
        return new

    def _bring(self) -> None:
        """Bring what it should show to the controller; once more if it got lost on the way."""
        self._ready()
        try:
            self._link.carry(self._messages())
        except UnderdashError:
            self._ready()
            self._link.carry(self._messages())

    def _messages(self) -> Iterator[Message]:
        yield from self._subject.messages()
        if self._level != self._wanted_level:
            self._level = self._wanted_level
            yield Kind.LIGHT, light(self._level)


class PixelPanel(SerialPanel):
    """A controller that gets pictures."""

    def __init__(self, size: tuple[int, int], link: Link) -> None:
        self._pixels = Pixels(size)
        super().__init__(size, link, self._pixels)

    def show(self, image: Image, boxes: Sequence[Box]) -> None:
        """Show an image of which only the boxes differ from the last; raises UnderdashError if it does not arrive."""
        self._ready()
        self._pixels.take(image, boxes)
        self._bring()


class ValuesPanel(SerialPanel):
    """A controller that draws by itself."""

    def __init__(self, size: tuple[int, int], link: Link) -> None:
        self._values = Values()
        super().__init__(size, link, self._values)

    def tell(self, content: Content) -> None:
        """Say what the page says now; raises UnderdashError if it does not arrive."""
        self._ready()
        self._values.take(content)
        self._bring()
