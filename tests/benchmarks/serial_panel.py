"""How often a value that moves all the time can be shown over a serial line, by the bytes that really go out.

Run it: ``python tests/benchmarks/serial_panel.py [picture.png]``. The boost page on 240x240 pixels; each picture is
drawn when the last one is through, at 10 bits a byte, at most 25 a second; the controller's own time, and what a USB
adapter adds, come on top. "rectangles" sends the boxes that changed as plain 16-bit pixels in the same frames; "runs"
and "values" are what the plug-in sends, to its reference controller. With a file, the last picture that the controller
rebuilt is written there.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, sin

from underdash.contract.pages import Canvas, Page, Role, Scale, Zone
from underdash.contract.signals import Age, Quality, Reading, Snapshot
from underdash.display.content import content_of
from underdash.display.elements import Picture
from underdash.display.kit import Painter
from underdash.display.recorder import record
from underdash.display.renderer import MOST_FPS
from underdash.display.rgb565 import pack, unpack
from underdash.display.round import Face, area
from underdash.testing import FakeClock
from underdash_serial_panel.device import PixelPanel, ValuesPanel
from underdash_serial_panel.framing import MOST_PAYLOAD
from underdash_serial_panel.link import Link
from underdash_serial_panel.memory import MemoryLine
from underdash_serial_panel.reference import Controller
from underdash_serial_panel.settings import Settings

SIZE = (240, 240)
SCALE = Scale(-0.8, 1.6, 0.0, (Zone(1.2, 1.4, Role.CAUTION), Zone(1.4, 1.6, Role.WARNING)))
BAUDS = (115200, 921600)
SECONDS = 20.0
BUDGET_FPS = 10.0
FRAME, CORNERS = 6, 8
"""Bytes around a payload, and those that say where a rectangle is."""


def value_at(seconds: float) -> float:
    """Return the boost at a time: pulls and lifts of a driver in a hurry."""
    return 0.35 + 0.6 * sin(seconds * 25 / 22.0) + 0.12 * sin(seconds * 5)


def picture_at(seconds: float) -> Picture:
    """Return the page at a time, with the value seen five times a second as its history."""
    value = value_at(seconds)
    shown = Reading("x", value * 100, value, "bar", 2, Age.FRESH, 0.02, Quality.GOOD, "made up")
    last = int(seconds * 5)
    history = tuple((seconds - i / 5.0, value_at(i / 5.0)) for i in range(last - 150, last))

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.title("boost")
        canvas.sweep(shown, SCALE, peak=1.1)
        canvas.figure(shown, signed=True)
        canvas.strip(history, SCALE, seconds=30.0)

    return record(Page("boost", "Boost", draw, ()), Snapshot(seconds, {}), SIZE)


@dataclass
class Run:
    """What came out: bytes of the first picture, of the others in the mean, pictures a second."""

    first: int
    mean: float
    fps: float


def timed(baud: int, bytes_for: Callable[[Picture], int], seconds: float = SECONDS) -> Run:
    """Show as many pictures as go through; the line decides when the next one is drawn."""
    at, begun, sizes = 0.0, 0.0, []
    while at - begun < seconds:
        size = bytes_for(picture_at(at))
        at += max(size * 10 / baud, 1 / MOST_FPS)
        begun = begun or at
        sizes.append(size)
    moving = sizes[1:]
    return Run(sizes[0], sum(moving) / len(moving), len(moving) / (at - begun))


def rectangles(baud: int) -> Run:
    """Send what changed as it is."""
    painter = Painter(Face(*SIZE))

    def size_of(picture: Picture) -> int:
        _, boxes = painter.paint(picture)
        sizes = [CORNERS + 2 * area(box) for box in boxes]
        return sum(size + FRAME * ceil(size / MOST_PAYLOAD) for size in sizes)

    return timed(baud, size_of)


def connected(baud: int, mode: str) -> tuple[Controller, Link, list[MemoryLine]]:
    """Return a controller and the way to it."""
    controller, clock = Controller(*SIZE), FakeClock()
    lines: list[MemoryLine] = []

    def opened() -> MemoryLine:
        lines.append(MemoryLine(controller, clock.advance))
        return lines[-1]

    settings = Settings(port="/dev/none", baud=baud, mode="pixels" if mode == "pixels" else "values")
    return controller, Link(settings, SIZE, opened, clock), lines


def runs(baud: int, seconds: float = SECONDS) -> tuple[Run, Controller]:
    """Send what the plug-in sends, and look whether the controller shows it."""
    controller, link, lines = connected(baud, "pixels")
    panel, painter = PixelPanel(SIZE, link), Painter(Face(*SIZE))

    def size_of(picture: Picture) -> int:
        image, boxes = painter.paint(picture)
        sent = lines[0].sent if lines else 0
        panel.show(image, boxes)
        if bytes(controller.screen) != pack(image):
            raise AssertionError("the controller shows something else")
        return lines[0].sent - sent

    return timed(baud, size_of, seconds), controller


def values(baud: int) -> Run:
    """Say what the page says."""
    _, link, lines = connected(baud, "values")
    panel = ValuesPanel(SIZE, link)

    def size_of(picture: Picture) -> int:
        sent = lines[0].sent if lines else 0
        panel.tell(content_of("boost", picture))
        return lines[0].sent - sent

    return timed(baud, size_of)


def main(arguments: list[str]) -> int:
    """Print all; return 1 if runs are below their budget."""
    print(f"serial panel, {SIZE[0]}x{SIZE[1]}, a value that moves all the time, {SECONDS:g} s")
    kept = True
    for baud in BAUDS:
        plain, (coded, controller), said = rectangles(baud), runs(baud), values(baud)
        for name, run in (("rectangles", plain), ("runs", coded), ("values", said)):
            print(
                f"  {baud:6} baud  {name:10} {run.fps:5.1f} pictures/s  {run.mean:7.0f} bytes each  "
                f"first {run.first:6} bytes, {run.first * 10 / baud:5.2f} s"
            )
        print(f"  {baud:6} baud  runs / rectangles: {coded.fps / plain.fps:.1f} times as many")
        if baud == BAUDS[0]:
            kept = coded.fps >= BUDGET_FPS
            if arguments:
                unpack(bytes(controller.screen), SIZE).save(arguments[0])
    print(f"  budget {BUDGET_FPS:g} pictures/s at {BAUDS[0]} baud with runs: {'kept' if kept else 'NOT kept'}")
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
