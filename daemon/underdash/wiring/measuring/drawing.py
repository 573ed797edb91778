"""What drawing a moving value costs: the boost page on 240x240 pixels, drawn, converted and cut to what changed."""

from __future__ import annotations

from math import sin
from time import perf_counter

from ...contract.pages import Canvas, Page, Role, Scale, Zone
from ...contract.signals import Age, Quality, Reading, Snapshot
from ...display.kit import Painter
from ...display.recorder import record
from ...display.rgb565 import pack
from ...display.round import Face

SIZE = (240, 240)
SCALE = Scale(-0.8, 1.6, 0.0, (Zone(1.2, 1.4, Role.CAUTION), Zone(1.4, 1.6, Role.WARNING)))
FRAMES = 500
BUDGET_MS = 1.5
BUDGET_BYTES = 20_000


def value_at(frame: int) -> float:
    """Return the boost of a frame at 25 a second: pulls and lifts of a driver in a hurry."""
    return 0.35 + 0.6 * sin(frame / 22.0) + 0.12 * sin(frame / 5.0)


def reading(value: float) -> Reading:
    """Return a value in bar."""
    return Reading("engine.boost_pressure", value * 100, value, "bar", 2, Age.FRESH, 0.02, Quality.GOOD, "made up")


def ours(frames: int = FRAMES) -> tuple[list[float], list[int]]:
    """Draw, convert and cut down to what changed; return milliseconds and bytes of each frame."""
    painter, times, sizes = Painter(Face(*SIZE)), [], []
    for frame in range(frames + 1):
        now = frame / 25.0
        history = tuple((now - i / 5.0, value_at(i * 5)) for i in range(frame // 5 - 150, frame // 5))
        snapshot = Snapshot(now, {"x": reading(value_at(frame))}, stored_histories={"x": history})

        def draw(canvas: Canvas, snapshot: Snapshot) -> None:
            shown = snapshot.readings["x"]
            canvas.title("boost")
            canvas.sweep(shown, SCALE, peak=1.1)
            canvas.figure(shown, signed=True)
            canvas.strip(snapshot.history("x"), SCALE, seconds=30.0)

        begun = perf_counter()
        image, boxes = painter.paint(record(Page("b", "b", draw, ()), snapshot, SIZE))
        sent = sum(len(pack(image.crop(box))) for box in boxes)
        if frame:  # the first is the whole panel, once
            times.append((perf_counter() - begun) * 1e3)
            sizes.append(sent)
    return times, sizes
