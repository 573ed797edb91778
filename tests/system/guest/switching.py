"""Runs in the guest: two real controllers on one wire, switched by the helper; prints one JSON object.

Limits of the stand-in: the emulated wire has no bit rate, so a wrong one cannot be told, and no electrical errors.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import socket
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from underdash.bus.controller import Controller, read
from underdash.bus.frames import Frame
from underdash.bus.link import Link
from underdash.bus.opening import BusConfig, opener
from underdash.bus.places import interfaces
from underdash.switching.client import switch
from underdash.switching.orders import Mode, Order, SwitchError
from underdash.wiring.modes import Modes

CONFIGURATION = Path("/run/underdash.toml")
PLACE = Path("/run/switch")
HELD_S = 20  # longer than the helper takes to start on an emulated processor


def ip(*words: str) -> None:
    """Change a link."""
    subprocess.run(["ip", "link", "set", *words], check=True)


def as_ip_tells(name: str) -> dict[str, Any]:
    """What ip(8) says about an interface."""
    done = subprocess.run(["ip", "-details", "-json", "link", "show", name], capture_output=True, check=True)
    found: dict[str, Any] = json.loads(done.stdout)[0]
    return found


def serve() -> None:
    """Start the helper for each connection, as the service manager would."""
    listener = socket.socket(socket.AF_UNIX)
    listener.bind(str(PLACE))
    listener.listen()
    while True:
        connection, _ = listener.accept()
        with connection:
            subprocess.run(
                [sys.executable, "-m", "underdash.switching.helper", str(CONFIGURATION)],
                stdin=connection.fileno(),
                check=False,
            )


class Car:
    """The far controller: sends a frame every millisecond or so, and keeps what it hears."""

    def __init__(self, name: str) -> None:
        self.socket = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
        self.socket.bind((name,))
        self.heard: list[int] = []
        self.talks = True
        for work in (self._talk, self._hear):
            threading.Thread(target=work, daemon=True).start()

    def _talk(self) -> None:
        while True:
            time.sleep(0.002)
            if self.talks:
                with contextlib.suppress(OSError):
                    self.socket.send(struct.pack("=IB3x8s", 0x3A6, 8, bytes(8)))

    def _hear(self) -> None:
        while True:
            with contextlib.suppress(OSError):
                self.heard.append(struct.unpack_from("=I", self.socket.recv(16))[0])


class Supervised:
    """A link and its modes, ticked in real time until something is true."""

    def __init__(self, *, asked_only: bool = False) -> None:
        loop = asyncio.get_running_loop()
        place = BusConfig("drive", channel="can0", bitrate=500_000)
        self.link = Link("drive", opener(place), bitrate=500_000, asked_only=asked_only)
        silent = ["drive"] if asked_only else []
        order = lambda one: switch(one, PLACE)  # noqa: E731
        self.modes = Modes({"drive": self.link}, ["drive"], silent, loop, order=order)
        self.link.start(loop, time.monotonic())

    async def until(self, holds: Callable[[], object], seconds: float = 20) -> bool:
        """Tick; return whether it came true in time."""
        end = time.monotonic() + seconds
        while not holds() and time.monotonic() < end:
            now = time.monotonic()
            self.link.tick(now)
            self.modes.look([self.link.status(now)], ignition_on=True, now=now)
            await asyncio.sleep(0.05)
        return bool(holds())

    def status(self) -> Any:
        """How it is now."""
        return self.link.status(time.monotonic())


def told(setup: Controller | None) -> dict[str, Any]:
    """What the kernel told us, beside what ip(8) says."""
    theirs = as_ip_tells("can0")["linkinfo"]["info_data"]
    assert setup is not None
    return {
        "bitrate": [setup.bitrate, theirs["bittiming"]["bitrate"]],
        "listen only": [setup.listen_only, "LISTEN-ONLY" in theirs.get("ctrlmode", [])],
        "condition": [setup.condition, theirs["state"]],
        "restart": [setup.restart_ms, theirs.get("restart_ms", 0)],
        "kind": setup.kind,
        "up": setup.up,
    }


async def listens_then_takes_part(car: Car) -> dict[str, Any]:
    """From listening only to taking part, by the proof of what was heard, and back at the end."""
    bus = Supervised()
    await bus.until(lambda: bus.status().controller)
    first = told(bus.status().controller)
    silent = bus.status().silent
    refused = bus.link.send(Frame(0x7E0, b"\x02\x01\x0c"), time.monotonic())
    part = await bus.until(lambda: bus.status().controller and not bus.status().controller.listen_only)
    proven = await bus.until(lambda: bus.status().proven, 1.0)
    sent = bus.link.send(Frame(0x7E0, b"\x02\x01\x0c"), time.monotonic())
    heard = await bus.until(lambda: 0x7E0 in car.heard)
    active = told(bus.status().controller)
    bus.link.close()
    bus.modes.close()
    last = read("can0")
    return {
        "first": first,
        "silent": silent,
        "sent while silent": refused,
        "took part": part,
        "proof held": proven,
        "sent": sent,
        "heard": heard,
        "active": active,
        "at the end": last is not None and last.listen_only,
    }


async def made_to_listen(car: Car) -> dict[str, Any]:
    """An interface that somebody left active is made to listen before anything is proven."""
    car.talks = False
    ip("can0", "down")
    ip("can0", "type", "can", "listen-only", "off")
    ip("can0", "up")
    bus = Supervised()
    await bus.until(lambda: bus.status().controller)
    warning = bus.status().warning
    quiet = await bus.until(lambda: bus.status().silent)
    after = bus.status().warning
    bus.link.close()
    car.talks = True
    return {"warning": warning, "listens": quiet, "after": after}


async def asked_once(car: Car) -> dict[str, Any]:
    """A bus that is silent until asked: one request in one-shot mode, and the answer is the proof."""
    car.talks = False
    bus = Supervised(asked_only=True)
    trial = await bus.until(lambda: bus.status().trial)
    setup = bus.status().controller
    bus.link.send(Frame(0x7DF, b"\x02\x01\x0c"), time.monotonic())
    again = bus.status().trial
    await bus.until(lambda: 0x7DF in car.heard)
    car.socket.send(struct.pack("=IB3x8s", 0x7E8, 8, b"\x04\x41\x0c\x0a\xf0\0\0\0"))
    proven = await bus.until(lambda: bus.status().proven, 5.0)
    active = await bus.until(lambda: bus.status().controller and not bus.status().controller.one_shot)
    held = await bus.until(lambda: bus.status().proven, 1.0)
    bus.link.close()
    bus.modes.close()
    car.talks = True
    return {
        "trial": trial,
        "one shot": setup is not None and setup.one_shot,
        "a second one": again,
        "proven": proven,
        "active": active,
        "held": held,
    }


async def emptied(car: Car) -> dict[str, Any]:
    """Frames that wait in the interface's queue are thrown away by the helper, not sent later.

    The emulated wire acknowledges everything, so a queue that holds frames back for a while (tc-netem(8)) stands in for
    a bus on which nobody does.
    """
    switch(Order("drive", Mode.ACTIVE), PLACE)
    subprocess.run(["modprobe", "sch_netem"], check=True)
    subprocess.run(["tc", "qdisc", "add", "dev", "can0", "root", "netem", "delay", f"{HELD_S}s"], check=True)

    async def heard_later(can_id: int, empty: bool) -> bool:
        ours = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
        ours.bind(("can0",))
        for _ in range(5):
            ours.send(struct.pack("=IB3x8s", can_id, 8, bytes(8)))
        if empty:
            switch(Order("drive", None), PLACE)
        assert can_id not in car.heard, "the queue held nothing back"
        await asyncio.sleep(HELD_S + 2)
        return can_id in car.heard

    seen = {"left alone": await heard_later(0x7E1, False), "emptied": await heard_later(0x7E2, True)}
    subprocess.run(["tc", "qdisc", "del", "dev", "can0", "root"], check=True)
    switch(Order("drive", Mode.LISTEN), PLACE)
    return seen


async def refused() -> dict[str, str]:
    """What the helper does not do."""
    said = {}
    for order in (Order("drive", Mode.ACTIVE, 250_000), Order("radio", Mode.LISTEN), Order("drive", Mode.LISTEN, 12)):
        try:
            said[f"{order.bus} {order.mode} {order.bitrate}"] = switch(order, PLACE)
        except SwitchError as exc:
            said[f"{order.bus} {order.mode} {order.bitrate}"] = str(exc)
    return said


async def main() -> None:
    """Run everything on two controllers."""
    subprocess.run(["modprobe", "-a", "can-raw", "kvaser_pci"], check=True)
    for name, listens in (("can0", "on"), ("can1", "off")):
        ip(name, "type", "can", "bitrate", "500000", "listen-only", listens)
        ip(name, "up")
    CONFIGURATION.write_text('[bus.drive]\nchannel = "can0"\nbitrate = 500000\n')
    threading.Thread(target=serve, daemon=True).start()
    car = Car("can1")
    seen: dict[str, Any] = {"python": sys.version.split()[0], "interfaces": interfaces()}
    for part in (listens_then_takes_part, made_to_listen, asked_once, emptied):
        seen[part.__name__] = await asyncio.wait_for(part(car), 90)
    seen["refused"] = await refused()
    print("SEEN", json.dumps(seen))


if __name__ == "__main__":
    asyncio.run(main())
