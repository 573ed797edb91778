"""Runs in the guest: pages on the kernel's virtual framebuffer, read back; prints one JSON object."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from PIL import Image, ImageChops

from underdash.contract.pages import Canvas, Page, Scale
from underdash.contract.signals import Snapshot
from underdash.display.kit import Painter
from underdash.display.panels.framebuffer import Framebuffer
from underdash.display.recorder import record
from underdash.display.rgb565 import pack, unpack
from underdash.display.round import Face
from underdash.display.writer import ImageWriter
from underdash.testing import snapshot

DEVICE = Path("/dev/fb0")
SPEED = "engine.speed"
SECONDS = 60.0


def draw(canvas: Canvas, seen: Snapshot) -> None:
    """Draw a page with something that moves."""
    canvas.title("speed")
    canvas.sweep(seen.reading(SPEED), Scale(0.0, 7000.0, 0.0))
    canvas.figure(seen.reading(SPEED))


def read_back(size: tuple[int, int], bits: int) -> Image.Image:
    """Return what the device's file holds; this framebuffer has red in the low bits."""
    data = DEVICE.read_bytes()[: size[0] * size[1] * bits // 8]
    if bits == 32:
        return Image.frombytes("RGB", size, data, "raw", "RGBX")
    swapped = bytearray(data)
    swapped[0::2], swapped[1::2] = swapped[1::2], swapped[0::2]
    return Image.merge("RGB", unpack(bytes(swapped), size).split()[::-1])


def let_go() -> None:
    """Take the text console, whose cursor blinks, off the framebuffer."""
    for console in Path("/sys/class/vtconsole").glob("vtcon*"):
        if "frame buffer" in (console / "name").read_text():
            (console / "bind").write_text("0")


def scene(bits: int) -> dict[str, object]:
    """Show a page that changes, and compare what the device holds with what was painted."""
    subprocess.run(["modprobe", "vfb", "vfb_enable=1", f"mode_option=320x240-{bits}"], check=True)
    let_go()
    told: list[str] = []
    device = Framebuffer(DEVICE)
    size, form = device.size, device.format
    writer = ImageWriter(device, told.append)
    painter = Painter(Face(*size, False))
    page = Page("speed", "Speed", draw, (SPEED,))
    equal = []
    for rpm in (800.0, 2500.0, 2510.0, 6900.0, 900.0):
        image, boxes = painter.paint(record(page, snapshot({SPEED: rpm}), size))
        writer.show(image, boxes)
        writer.dim(1.0)
        assert writer.settled(SECONDS)
        wanted = image if bits == 32 else unpack(pack(image), size)
        equal.append(ImageChops.difference(read_back(size, bits), wanted).getbbox() is None)
    writer.close()
    black = read_back(size, bits).getbbox() is None
    subprocess.run(["modprobe", "-r", "vfb"], check=True)
    return {"size": size, "bits": form.bits, "stride": form.stride, "equal": equal, "black": black, "told": told}


print(
    "SEEN",
    json.dumps({"python": sys.version.split()[0], "16": scene(16), "32": scene(32), "gone": not DEVICE.exists()}),
)
