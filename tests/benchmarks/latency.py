"""From a signal's change to its bytes in the panel, and what the processor does meanwhile.

The whole daemon with the round panel on 240x240, its loop and its threads, in real time: a value is put into the store,
and the panel's SPI takes as long for its bytes as a wire of 32 MHz does. Measured is until a picture with this value is
out; values that were replaced before they were drawn are not counted. The baseline is a loop that draws everything anew
25 times a second and sends whole pictures through luma's st7789, from the same store over the same wire.
Run: python tests/benchmarks/latency.py [seconds for each row]
"""

from __future__ import annotations

import asyncio
import os
import random
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

import structlog
from luma.lcd.device import st7789

from underdash.bus.memory import MemoryBus
from underdash.config.reading import parse_config
from underdash.contract.pages import Canvas, Page, Scale
from underdash.contract.signals import Quality, Snapshot
from underdash.display.deck import Deck
from underdash.display.dimming import DimmingOptions
from underdash.display.kit import draw_page
from underdash.display.panels.wire import Wire
from underdash.display.panels.wired import WiredPanel
from underdash.signals.store import Slot, Store
from underdash.wiring.building import build
from underdash.wiring.screen import Look, Screen
from underdash_round_panel.controller import begun
from underdash_round_panel.settings import SIZE, Settings

CONFIG = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn"]
[bus.drive]
interface = "memory"
[bus.comfort]
interface = "memory"
[power]
supply = "switched"
"""
SPEED = "engine.speed"
HZ = 32e6
BUDGET_S = 0.025
FRAME_S = 0.04
SETTLED_S = 1.5


class Slow:
    """SPI that takes its time, and lines."""

    def writebytes2(self, values: memoryview) -> None:
        """Take bytes for as long as a wire would."""
        time.sleep(len(values) * 8 / HZ)

    def set(self, on: bool) -> None:
        """Take a level."""

    def close(self) -> None:
        """Nothing is open."""


@dataclass
class Watch:
    """When which value was put in, and when it, or a newer one, was out."""

    put: dict[float, float] = field(default_factory=dict)
    took: list[float] = field(default_factory=list)
    drawn: float = 0.0
    pictures: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def changed(self, value: float) -> None:
        """Note a change."""
        with self.lock:
            self.put[value] = time.perf_counter()

    def out(self, value: float) -> None:
        """Note a picture that went out whole, and the value in it."""
        now = time.perf_counter()
        with self.lock:
            self.pictures += 1
            if value in self.put:
                self.took.append(now - self.put[value])
                # older ones were replaced before they were drawn
                self.put = {newer: at for newer, at in self.put.items() if at > self.put[value]}


def page(watch: Watch) -> Page:
    """Return a page that tells which value it draws."""

    def draw(canvas: Canvas, seen: Snapshot) -> None:
        reading = seen.reading(SPEED)
        watch.drawn = reading.value if isinstance(reading.value, float) else 0.0
        canvas.title("engine")
        canvas.sweep(reading, Scale(0.0, 7000.0, 0.0))
        canvas.figure(reading)

    return Page("engine", "Engine", draw, (SPEED,))


@contextmanager
def ours(loop: asyncio.AbstractEventLoop, watch: Watch) -> Iterator[Store]:
    """Run the daemon with a panel that is watched."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"XDG_RUNTIME_DIR": folder, "XDG_STATE_HOME": folder}
        config = parse_config(CONFIG, str(Path(folder) / "underdash.toml"))
        built = build(config, loop, memory={role: MemoryBus(role) for role in config.bus})
        slow = Slow()
        panel = WiredPanel(SIZE, lambda: Wire(slow, slow, slow), lambda wire: begun(wire, Settings()))
        show = panel.show

        def watched(image: object, boxes: object) -> None:
            value = watch.drawn
            show(image, boxes)  # type: ignore[arg-type]
            watch.out(value)

        panel.show = watched  # type: ignore[method-assign]
        deck = Deck([page(watch)])
        look = Look(DimmingOptions())
        built.daemon.add_screen(
            lambda: Screen("main", panel, deck, look, loop=loop, turned=built.daemon.ask, level=1.0)
        )
        built.daemon.start()
        try:
            yield built.assembly.store
        finally:
            built.daemon.stop()
            built.release()


@contextmanager
def by_timer(loop: asyncio.AbstractEventLoop, watch: Watch) -> Iterator[Store]:
    """Draw and send everything, 25 times a second, in a thread of its own; the daemon runs without a panel."""
    drawn, ended, slow = page(watch), threading.Event(), Slow()
    device = st7789(Wire(slow, slow, slow), width=240, height=240, backlight=lambda on: None)
    device.persist = True

    def draw_all(store: Store) -> None:
        due = time.monotonic()
        while not ended.is_set():
            image = draw_page(drawn, store.snapshot(loop.time(), {SPEED}), size=SIZE)
            value = watch.drawn
            device.display(image)
            watch.out(value)
            due = max(due + FRAME_S, time.monotonic())
            ended.wait(due - time.monotonic())

    with ours(loop, Watch()) as store:
        thread = threading.Thread(target=draw_all, args=(store,))
        thread.start()
        try:
            yield store
        finally:
            ended.set()
            thread.join()


async def feed(slot: Slot, watch: Watch, gap: Callable[[], float], seconds: float) -> None:
    """Change a value now and then."""
    loop, n = asyncio.get_running_loop(), 0
    ends = loop.time() + seconds
    while loop.time() < ends:
        n += 1
        # far enough from the last one that the picture cannot be the same
        value = 1000.0 + (n * 370) % 5000 + n / 1024
        watch.changed(value)
        slot.put(value, Quality.GOOD, loop.time())
        await asyncio.sleep(gap())


def row(way: Callable[..., object], gap: Callable[[], float] | None, seconds: float) -> tuple[Watch, float]:
    """Return what was watched and the share of a processor that was used."""
    loop, watch = asyncio.new_event_loop(), Watch()
    try:
        with way(loop, watch) as store:  # type: ignore[attr-defined]
            (slot, *_) = store.slots(SPEED)
            slot.put(900.0, Quality.GOOD, loop.time())
            loop.run_until_complete(asyncio.sleep(SETTLED_S))  # set-up, and the band comes to rest
            watch.pictures = 0
            wall, processor = time.monotonic(), time.process_time()
            loop.run_until_complete(asyncio.sleep(seconds) if gap is None else feed(slot, watch, gap, seconds))
            share = (time.process_time() - processor) / (time.monotonic() - wall)
            loop.run_until_complete(asyncio.sleep(0.3))
    finally:
        loop.close()
    return watch, share


def main(seconds: float = 6.0) -> int:
    """Print the table; a machine that does something else beside it is no fault, so nothing fails here."""
    structlog.configure(logger_factory=structlog.ReturnLoggerFactory())
    chance = random.Random(1)
    feeds: dict[str, Callable[[], float] | None] = {
        "a single change": lambda: 0.5 + chance.random() * 0.1,
        "50 changes a second": lambda: 0.02,
        "at rest": None,
    }
    print(f"signal change to bytes in the panel, {SIZE[0]}x{SIZE[1]}, wire at {HZ / 1e6:g} MHz, {seconds:g} s each")
    kept = True
    for name, gap in feeds.items():
        seen = {"underdash": row(ours, gap, seconds), "all anew by timer": row(by_timer, gap, seconds)}
        for way, (watch, share) in seen.items():
            took = sorted(watch.took)
            late = f"{median(took) * 1e3:6.1f} ms  99 % {took[int(len(took) * 0.99)] * 1e3:6.1f} ms" if took else ""
            print(f"  {name:20} {way:18} {late:30} {share:7.1%} of a processor {watch.pictures:4} pictures")
        (our, our_share), (base, base_share) = seen.values()
        ratio = f"{median(base.took) / median(our.took):.1f}, " if our.took and base.took else ""
        print(f"  {name:20} by timer / underdash: {ratio}processor {base_share / our_share:.1f}")
        kept = kept and (not our.took or median(our.took) <= BUDGET_S)
    print(f"  budget: median {BUDGET_S * 1e3:g} ms: {'kept' if kept else 'NOT kept'}")
    return 0


if __name__ == "__main__":
    sys.exit(main(float(sys.argv[1]) if len(sys.argv) > 1 else 6.0))
