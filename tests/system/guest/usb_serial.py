"""Runs in the guest: a CAN adapter on a USB serial line, pulled out and plugged in again; prints one JSON object.

The kernel's own USB loop (dummy_hcd, g_serial) is the cable: the host's end is /dev/ttyACM0 as with a real adapter, the
adapter is played at the gadget's end. Limits of the stand-in: no bus behind it, and no supply that dips.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import subprocess
import sys
import termios
import threading
import time
import tty
from collections.abc import Callable
from pathlib import Path
from typing import Any

from underdash.bus.health import BusState
from underdash.bus.link import Link
from underdash.bus.opening import BusConfig, opener

NEAR, FAR = Path("/dev/ttyACM0"), Path("/dev/ttyGS0")


def plug() -> bool:
    """Plug the adapter in; returns whether its line is there."""
    subprocess.run(["modprobe", "g_serial", "use_acm=1"], check=True)
    end = time.monotonic() + 20
    while not (NEAR.exists() and FAR.exists()) and time.monotonic() < end:
        time.sleep(0.05)
    return NEAR.exists()


class Adapter:
    """The far end: keeps what it is told and says a frame now and then (ASCII lines of the trade's serial adapters)."""

    def __init__(self) -> None:
        self.told = b""
        self.file = os.open(FAR, os.O_RDWR | os.O_NOCTTY)
        with contextlib.suppress(termios.error):
            tty.setraw(self.file)
        self.thread = threading.Thread(target=self._talk, daemon=True)
        self.ended = False
        self.thread.start()

    def _talk(self) -> None:
        os.set_blocking(self.file, False)
        number = 0
        while not self.ended:
            time.sleep(0.01)
            number += 1
            with contextlib.suppress(OSError):
                self.told += os.read(self.file, 100)
            with contextlib.suppress(OSError):
                os.write(self.file, b"t1234%08X\r" % number)

    def pull(self) -> None:
        """Take the adapter out."""
        self.ended = True
        self.thread.join()
        os.close(self.file)
        subprocess.run(["modprobe", "-r", "g_serial"], check=True)


async def until(link: Link, holds: Callable[[], object], seconds: float = 40.0) -> bool:
    """Tick the link until something is true."""
    end = time.monotonic() + seconds
    while not holds() and time.monotonic() < end:
        link.tick(time.monotonic())
        await asyncio.sleep(0.02)
    return bool(holds())


async def main() -> None:
    """Hear, pull, plug, hear again."""
    subprocess.run(["modprobe", "-a", "dummy_hcd", "cdc_acm"], check=True)
    seen: dict[str, Any] = {"python": sys.version.split()[0], "there": plug()}
    adapter = Adapter()
    place = BusConfig("drive", "slcan", str(NEAR), bitrate=500_000, listen_only=True)
    link = Link("drive", opener(place), bitrate=500_000)
    heard: list[int] = []
    link.table.add(0x123, lambda data, at: heard.append(int.from_bytes(data, "big")))
    link.start(asyncio.get_running_loop(), time.monotonic())
    seen["heard"] = await until(link, lambda: len(heard) > 20)
    seen["opened with"] = adapter.told.decode("ascii", "replace").split("\r")
    adapter.pull()
    seen["absent"] = await until(link, lambda: link.state is BusState.ABSENT)
    seen["gone"] = not NEAR.exists()
    await until(link, lambda: "does not open" in link.status(time.monotonic()).sentence, 10)
    seen["sentence"] = link.status(time.monotonic()).sentence
    heard.clear()
    seen["back"] = plug()
    adapter = Adapter()
    seen["heard again"] = await until(link, lambda: len(heard) > 20)
    seen["in order"] = heard == sorted(heard)
    seen["state"] = link.state
    link.close()
    adapter.pull()
    print("SEEN", json.dumps(seen))


if __name__ == "__main__":
    asyncio.run(main())
