"""What drawing a moving value costs, against drawing everything anew each time.

Run it: ``python tests/benchmarks/drawing.py``. Both draw the boost page on 240x240 pixels; "naive" paints the whole
page with Pillow, without anti-aliasing, and sends all of it in 18-bit colour (three bytes a pixel).
"""

from __future__ import annotations

import sys
from statistics import mean, median
from time import perf_counter

from PIL import Image, ImageDraw

from underdash.display.fonts import BOLD, REGULAR, Fonts
from underdash.display.palettes import DAY
from underdash.display.sweep import START_DEG, Ring
from underdash.wiring.measuring.drawing import BUDGET_BYTES, BUDGET_MS, FRAMES, SCALE, SIZE, ours, value_at

angle_of = Ring.around((120.0, 120.0), 1.0).angle_of


def naive() -> tuple[list[float], list[int]]:
    """Draw the whole page each time; return milliseconds and bytes of each frame."""
    fonts, times, sizes = Fonts(), [], []
    large, small = fonts.face(BOLD, 60), fonts.face(REGULAR, 20)
    for frame in range(1, FRAMES + 1):
        value = value_at(frame)
        begun = perf_counter()
        image = Image.new("RGB", SIZE, DAY.ground)
        draw = ImageDraw.Draw(image)
        draw.arc((5, 5, 235, 235), START_DEG, START_DEG + 240, fill=DAY.track, width=3)
        for zone in SCALE.zones:
            draw.arc((5, 5, 235, 235), angle_of(SCALE, zone.low), angle_of(SCALE, zone.high), DAY.caution, 3)
        ends = sorted((angle_of(SCALE, 0.0), angle_of(SCALE, value)))
        draw.arc((12, 12, 228, 228), ends[0], ends[1], fill=DAY.accent, width=12)
        draw.text((120, 114), f"{value:+.2f}", fill=DAY.ink, font=large, anchor="mm")
        draw.text((120, 155), "bar", fill=DAY.soft, font=small, anchor="mm")
        draw.text((120, 60), "boost", fill=DAY.soft, font=small, anchor="mm")
        points = [(60 + i, 195 - 15 * value_at(frame - i * 6)) for i in range(0, 120, 2)]
        draw.line(points, fill=DAY.soft, width=2)
        sent = len(image.tobytes())
        times.append((perf_counter() - begun) * 1e3)
        sizes.append(sent)
    return times, sizes


def main() -> int:
    """Print both; return 1 if ours is over its budget."""
    # the middle of three runs: the machine may be doing something else meanwhile
    runs = sorted((ours() for _ in range(3)), key=lambda run: mean(run[0]))
    (our_ms, our_bytes), (naive_ms, naive_bytes) = runs[1], naive()
    print(f"drawing, {SIZE[0]}x{SIZE[1]}, a value that moves every frame, {FRAMES} frames")
    for name, times, sizes in (("underdash", our_ms, our_bytes), ("naive", naive_ms, naive_bytes)):
        print(
            f"  {name:10} mean {mean(times):5.2f} ms  median {median(times):5.2f} ms  "
            f"99 % {sorted(times)[int(len(times) * 0.99)]:5.2f} ms  {mean(sizes) / 1e3:6.1f} kB a frame"
        )
    faster, smaller = mean(naive_ms) / mean(our_ms), mean(naive_bytes) / mean(our_bytes)
    print(f"  naive / underdash: time {faster:.2f}, bytes {smaller:.1f}")
    kept = mean(our_ms) <= BUDGET_MS and mean(our_bytes) <= BUDGET_BYTES
    print(f"  budget {BUDGET_MS} ms and {BUDGET_BYTES / 1e3:g} kB in the mean: {'kept' if kept else 'NOT kept'}")
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
