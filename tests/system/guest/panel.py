"""Runs in the guest: a round panel on the kernel's spidev, GPIO lines and a backlight; prints one JSON object.

`kernel/bench.c` keeps what goes over SPI, with the level of the data/command line, which gpio-sim has. The model of the
controller gets the same bytes and rebuilds the picture.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from bench import BACKLIGHT, BENCH, LIGHT, RESET, Transfer, forget, level, set_up, transfers
from PIL import ImageChops

from underdash.contract.errors import UnderdashError
from underdash.contract.pages import Canvas, Page, Scale
from underdash.contract.signals import Snapshot
from underdash.display.kit import Painter
from underdash.display.recorder import record
from underdash.display.round import Face
from underdash.drivers import PanelModel, WiredPanel, dcs, pack, unpack
from underdash.testing import snapshot

sys.path[:0] = [str(place) for place in Path("plugins").iterdir() if place.is_dir()]
from underdash_round_panel import opened  # noqa: E402
from underdash_round_panel.settings import SIZE, Settings  # noqa: E402

SPEED = "engine.speed"
SECONDS = 120.0
CONFIG = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "round_panel"]
[bus.drive]
interface = "virtual"
channel = "drive"
[bus.comfort]
interface = "virtual"
channel = "comfort"
[power]
supply = "switched"
[panel.main]
driver = "round_panel"
deck = ["boost"]
[panel.main.backlight]
"""
KINDS = {"kernel": 'kind = "kernel"\n', "line": 'kind = "line"\nline = "GPIO18"\n'}
FOLDER = Path("/run/bench")


def rebuilt(sent: list[Transfer]) -> PanelModel:
    """Return a controller that got the same bytes, each as what the line said it is."""
    model = PanelModel.gc9a01()
    wire = model.wire()
    wire.reset()
    for _, data, values in sent:
        if data:
            wire.data(values)
        else:
            wire.command(*values)
    return model


@contextlib.contextmanager
def sampled(look: Callable[[], int]) -> Iterator[list[int]]:
    """Look at something all the time; yields what it was, each change once."""
    seen, ended = [look()], threading.Event()

    def watch() -> None:
        while not ended.is_set():
            now = look()
            if now != seen[-1]:
                seen.append(now)
            time.sleep(0.001)

    thread = threading.Thread(target=watch)
    thread.start()
    try:
        yield seen
    finally:
        ended.set()
        thread.join()


def draw(canvas: Canvas, seen: Snapshot) -> None:
    """Draw a page with something that moves."""
    canvas.title("speed")
    canvas.sweep(seen.reading(SPEED), Scale(0.0, 7000.0, 0.0))
    canvas.figure(seen.reading(SPEED))


def pictures(lines: Path) -> dict[str, object]:
    """Show pictures on an open panel, with an error in the middle of one."""
    panel = opened({"size": SIZE, "rotation": 0.0, "settings": Settings()})
    assert isinstance(panel, WiredPanel)
    painter, page, equal = Painter(Face(*SIZE)), Page("speed", "Speed", draw, (SPEED,)), []
    with sampled(lambda: level(lines, RESET)) as reset:
        for rpm in (800.0, 2500.0, 2510.0, 6900.0):
            image, boxes = painter.paint(record(page, snapshot({SPEED: rpm}), SIZE))
            panel.show(image, boxes)
            wanted = unpack(pack(image), SIZE)
            equal.append(ImageChops.difference(rebuilt(transfers()).seen(), wanted).getbbox() is None)
    first = transfers()
    (BENCH / "broken").write_text("1")
    try:
        panel.show(image, [(0, 0, *SIZE)])
        told = ""
    except UnderdashError as exc:
        told = str(exc)
    (BENCH / "broken").write_text("0")
    forget()
    panel.show(image, [(0, 0, *SIZE)])
    again = ImageChops.difference(rebuilt(transfers()).seen(), wanted).getbbox() is None
    panel.close()
    woken = next(n for n, (_, data, values) in enumerate(first) if not data and values[0] == dcs.SLPOUT)
    return {
        "equal": equal,
        "reset": reset,
        "after_waking_s": (first[woken + 1][0] - first[woken][0]) * 1e-9,
        "bytes": sum(len(values) for _, _, values in first),
        "longest": max(len(values) for _, _, values in first),
        "told": told,
        "again": again,
        "dark": not rebuilt(transfers()).on,
    }


def waited(done: Callable[[], bool]) -> bool:
    """Wait for something."""
    ends = time.monotonic() + SECONDS
    while not done():
        if time.monotonic() > ends:
            return False
        time.sleep(0.01)
    return True


def lights(kind: str, look: Callable[[], int], *ends: signal.Signals) -> dict[str, object]:
    """Run the daemon with a backlight until its picture shows, once to each end, and put it out."""
    FOLDER.mkdir(exist_ok=True)
    config = FOLDER / "underdash.toml"
    config.write_text(CONFIG + KINDS[kind])
    command = [sys.executable, "-m", "underdash"]
    seen: dict[str, object] = {}
    for end in ends:
        forget()
        before, begun = look(), time.monotonic()
        with (
            (FOLDER / "log").open("w") as log,
            subprocess.Popen([*command, "run", "--config", str(config)], stderr=log) as daemon,
        ):
            lit = waited(lambda: look() == 0 or daemon.poll() is not None) and waited(lambda: look() > 0)
            took_s = time.monotonic() - begun
            shown = rebuilt(transfers())
            time.sleep(1.0)
            bright = look()
            daemon.send_signal(end)
        seen[end.name] = {
            "before": before,
            "lit": lit,
            "took_s": took_s,
            "picture_first": shown.on and shown.seen().getbbox() is not None,
            "bright": bright,
            "after": look(),
            "sleeps": not rebuilt(transfers()).on,
            "log": "" if lit else (FOLDER / "log").read_text()[-1500:],
        }
    done = subprocess.run([*command, "dark", "--config", str(config)], check=False, capture_output=True, text=True)
    return {**seen, "dark": [done.returncode, done.stderr, look()]}


def main() -> None:
    """Print what was seen."""
    plugins = os.pathsep.join(sys.path[: len(list(Path("plugins").iterdir()))])
    os.environ |= {
        "PYTHONPATH": f"{os.environ['PYTHONPATH']}{os.pathsep}{plugins}",
        "XDG_RUNTIME_DIR": "/run",
        "XDG_STATE_HOME": "/var",
        "PYTHONPYCACHEPREFIX": "/var/compiled",
    }
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    lines = set_up()
    seen: dict[str, object] = {"python": sys.version.split()[0], "pictures": pictures(lines)}
    seen["kernel"] = lights("kernel", lambda: int(LIGHT.read_text()), signal.SIGTERM, signal.SIGKILL)
    seen["line"] = lights("line", lambda: level(lines, BACKLIGHT), signal.SIGTERM)
    print("SEEN", json.dumps(seen))


main()
