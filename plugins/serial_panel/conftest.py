"""A panel whose controller is the reference, on a line that tests can spoil."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import pytest
from PIL import Image

from underdash import UnderdashError
from underdash.drivers import pack
from underdash.testing import FakeClock
from underdash_serial_panel.device import PixelPanel, ValuesPanel
from underdash_serial_panel.link import Link
from underdash_serial_panel.memory import Fate, MemoryLine, whole
from underdash_serial_panel.reference import Controller
from underdash_serial_panel.settings import Settings

GIVE_UP_S = 120.0


@dataclass
class Bench:
    """Panel, line and controller, and a core that shows everything again after a failure.

    Attributes:
        there, back: what becomes of each byte on the line that is opened next.
        absent: what opening the line raises, None if it opens.
        errors: what the panel raised.
        opened: how many lines were opened.
    """

    controller: Controller
    mode: str = "pixels"
    size: tuple[int, int] = (0, 0)
    there: Fate = whole
    back: Fate = whole
    absent: str | None = None
    greets: bool = True
    errors: list[str] = field(default_factory=list)
    opened: int = 0
    clock: FakeClock = field(default_factory=FakeClock)

    def __post_init__(self) -> None:
        self.size = self.size if any(self.size) else (self.controller.width, self.controller.height)
        self.settings = Settings(port="/dev/ttyACM0", mode="pixels" if self.mode == "pixels" else "values")
        self.link = Link(self.settings, self.size, self.open_line, self.clock)
        self.pixels = PixelPanel(self.size, self.link)
        self.values = ValuesPanel(self.size, self.link)
        self.line: MemoryLine | None = None

    def open_line(self) -> MemoryLine:
        """Open a line to the controller."""
        if self.absent is not None:
            raise UnderdashError(self.absent)
        self.opened += 1
        self.line = MemoryLine(self.controller, self.clock.advance, there=self.there, back=self.back)
        try:
            self.line.say(self.controller.start() if self.greets else b"")
        except OSError as exc:
            raise UnderdashError(str(exc)) from exc
        return self.line

    def restart(self) -> None:
        """Let the controller lose everything, as a reset does; what its display holds then is anything."""
        old = self.controller
        self.controller = Controller(old.width, old.height, old.can, old.window)
        self.controller.screen[:] = b"\xa5" * len(self.controller.screen)
        if self.line is not None:
            self.line.controller = self.controller

    def insist(self, image: Image.Image, boxes: list[tuple[int, int, int, int]], level: float) -> None:
        """Show an image and set the light the way the renderer does, until that succeeds."""
        self.trying(lambda whole: self.pixels.show(image, [(0, 0, *self.size)] if whole else boxes), level)

    def trying(self, show: Callable[[bool], None], level: float) -> None:
        """Show something, all of it after a failure, and set the light, until that succeeds."""
        again, until = False, self.clock() + GIVE_UP_S
        while self.clock() < until:
            try:
                show(again)
                self.pixels.dim(level)
            except UnderdashError as exc:
                self.errors.append(str(exc))
                again = True
                self.clock.advance(0.04)
                continue
            return
        raise AssertionError(f"nothing shown after {GIVE_UP_S} s: {self.errors[-1]}")

    def idle(self, seconds: float) -> None:
        """Let time pass in which nothing changes, looked after as the renderer does."""
        until = self.clock() + seconds
        while self.clock() < until:
            self.clock.advance(0.04)
            self.controller.passed(40)
            try:
                self.pixels.tend()
            except UnderdashError as exc:
                self.errors.append(str(exc))

    def right(self, image: Image.Image) -> bool:
        """Tell whether the controller shows this image."""
        return bytes(self.controller.screen) == pack(image)


@pytest.fixture(scope="session")
def bench() -> type[Bench]:
    """Makes benches."""
    return Bench
