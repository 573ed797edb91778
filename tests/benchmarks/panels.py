"""What a frame costs on each kind of panel: a moving needle at 240x240, beside a naive full redraw and luma's own way.

Run: python tests/benchmarks/panels.py [frames]. Nothing is on the wire: what would be is counted.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from math import sin
from statistics import mean, median

from luma.lcd.device import st7789
from PIL import Image

from underdash.contract.pages import Canvas, Page, Scale
from underdash.contract.signals import Snapshot
from underdash.display.kit import Painter, draw_page
from underdash.display.panels.framebuffer import Format, write_box
from underdash.display.panels.lcd import LcdSettings, lcd_panel
from underdash.display.panels.picture import PicturePanel
from underdash.display.panels.wire import Wire
from underdash.display.panels.wired import WiredPanel
from underdash.display.recorder import record
from underdash.display.round import Box, Face, area
from underdash.drivers import pack
from underdash.testing import snapshot
from underdash_round_panel.controller import begun
from underdash_round_panel.settings import Settings as RoundSettings

SPEED = "engine.speed"
SIZE = 240, 240
MHZ = 8.0, 32.0, 62.5
Show = Callable[[Image.Image, Sequence[Box]], object]


class Counting:
    """A spidev and its lines that count what goes out."""

    def __init__(self) -> None:
        self.bytes = 0

    def writebytes2(self, values: memoryview) -> None:
        """Take bytes."""
        self.bytes += len(values)

    def set(self, on: bool) -> None:
        """Take a level."""

    def close(self) -> None:
        """Nothing is open."""


def draw(canvas: Canvas, seen: Snapshot) -> None:
    """Draw a page with something that moves."""
    canvas.title("engine")
    canvas.sweep(seen.reading(SPEED), Scale(0.0, 7000.0, 0.0))
    canvas.figure(seen.reading(SPEED))


PAGE = Page("engine", "Engine", draw, (SPEED,))


def moments(frames: int) -> list[Snapshot]:
    """Return a needle that swings, 25 times a second."""
    return [snapshot({SPEED: 3500.0 + 3000.0 * sin(n / 25.0)}, now=1000.0 + n * 0.04) for n in range(frames)]


def measured(seen: list[Snapshot], one: Callable[[Snapshot], None]) -> list[float]:
    """Return the seconds of processor time of each frame, the first left out."""
    took = []
    for moment in seen:
        begun = time.process_time()
        one(moment)
        took.append(time.process_time() - begun)
    return took[1:]


def ours(show: Show) -> Callable[[Snapshot], None]:
    """Return a frame drawn by the kit: only what changed is painted and shown."""
    painter = Painter(Face(*SIZE))

    def one(moment: Snapshot) -> None:
        image, boxes = painter.paint(record(PAGE, moment, SIZE))
        if boxes:
            show(image, boxes)

    return one


def parts(seen: list[Snapshot]) -> list[tuple[str, float]]:
    """Return what a frame's milliseconds of processor time go into, in the mean."""
    painter, took = Painter(Face(*SIZE)), dict.fromkeys(("record", "draw and diff", "convert"), 0.0)
    for moment in seen:
        begun_at = time.process_time()
        picture = record(PAGE, moment, SIZE)
        recorded_at = time.process_time()
        image, boxes = painter.paint(picture)
        painted_at = time.process_time()
        for box in boxes:
            pack(image.crop(box))
        took["record"] += recorded_at - begun_at
        took["draw and diff"] += painted_at - recorded_at
        took["convert"] += time.process_time() - painted_at
    return [(name, seconds * 1e3 / len(seen)) for name, seconds in took.items()]


def naive(moment: Snapshot) -> None:
    """Draw everything anew and make three bytes a pixel of it."""
    draw_page(PAGE, moment, size=SIZE).tobytes()


def main(frames: int = 200) -> int:
    """Print the table."""
    seen = moments(frames)
    form, memory = Format(SIZE, 16, 480), bytearray(480 * 240)
    sent = 0

    def framebuffer(image: Image.Image, boxes: Sequence[Box]) -> None:
        nonlocal sent
        for box in boxes:
            write_box(memory, form, image.crop(box), box)
            sent += 2 * area(box)

    def spi() -> tuple[Counting, Wire]:
        counting = Counting()
        return counting, Wire(counting, counting, counting, sleep=lambda seconds: None)

    own = Counting()
    luma = st7789(
        Wire(own, own, own, waits={}, sleep=lambda seconds: None), width=240, height=240, backlight=lambda on: None
    )
    luma.persist = True
    whole = Painter(Face(*SIZE))

    def by_luma(moment: Snapshot) -> None:
        image, _ = whole.paint(record(PAGE, moment, SIZE))
        luma.display(image)

    wire, to_lcd = spi()
    show = lcd_panel(LcdSettings(device="st7789"), SIZE, opened=lambda _: to_lcd).show
    round_wire, to_round = spi()
    round_show = WiredPanel(SIZE, lambda: to_round, lambda one: begun(one, RoundSettings())).show
    picture = PicturePanel(SIZE)
    rows: list[tuple[str, list[float], Callable[[], float]]] = []
    base = measured(seen, naive)
    rows.append(("naive: all anew, three bytes a pixel", base, lambda: 3.0 * SIZE[0] * SIZE[1]))
    rows.append(("luma's own st7789, our drawing", measured(seen, by_luma), lambda: own.bytes / frames))
    rows.append(("st7789 in windows", measured(seen, ours(show)), lambda: wire.bytes / frames))
    round_took = measured(seen, ours(round_show))
    rows.append(("round_panel (GC9A01) in windows", round_took, lambda: round_wire.bytes / frames))
    rows.append(("framebuffer, 16 bits", measured(seen, ours(framebuffer)), lambda: sent / frames))
    rows.append(("picture in memory", measured(seen, ours(picture.show)), lambda: 2.0 * picture.pixels / frames))
    print(f"a needle that moves at 25 a second, {SIZE[0]}x{SIZE[1]}, {frames} frames; processor time")
    print(f"  {'':<38}{'mean':>9}{'median':>9}{'to naive':>10}{'a frame':>10}" + "".join(f"{m:>8g} MHz" for m in MHZ))
    for label, took, size in rows:
        fps = "".join(f"{min(m * 1e6 / 8 / size(), 9999):>8.0f} fps" for m in MHZ)
        ratio = mean(took) / mean(base)
        print(
            f"  {label:<38}{mean(took) * 1e3:>6.2f} ms{median(took) * 1e3:>6.2f} ms{ratio:>9.2f}x"
            f"{size() / 1000:>7.1f} kB{fps}"
        )
    print("  frames a second by arithmetic: a frame's bytes over the clock; the renderer shows at most 25")
    print("  of a frame on a panel in windows:" + "".join(f" {name} {ms:.2f} ms" for name, ms in parts(seen)))
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
