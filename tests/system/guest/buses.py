"""Runs in the guest: the way in and the link on a real SocketCAN; prints one JSON object with what was seen."""

from __future__ import annotations

import asyncio
import json
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

from underdash.bus.frames import EXTENDED, Frame
from underdash.bus.health import BusState
from underdash.bus.link import Link
from underdash.bus.opening import BusConfig, opener
from underdash.bus.places import interfaces

ERROR_FLAG = 0x2000_0000


def ip(*words: str) -> None:
    """Change a link."""
    subprocess.run(["ip", "link", *words], check=True)


def node() -> socket.socket:
    """Another node of the bus, on a socket of its own."""
    made = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
    made.bind(("vcan0",))
    made.settimeout(5)
    return made


def put(other: socket.socket, can_id: int, data: bytes = b"") -> None:
    """Have the other node send a frame."""
    other.send(struct.pack("=IB3x8s", can_id, len(data), data))


class Supervised:
    """A link that is ticked in real time until something is true."""

    def __init__(self, *, filtered: bool = False) -> None:
        self.got: list[tuple[int, str]] = []
        self.link = Link("drive", opener(BusConfig("drive", channel="vcan0")), filtered=filtered)
        self.link.start(asyncio.get_running_loop(), time.monotonic())

    def want(self, key: int) -> None:
        """Keep what comes with this key."""
        self.link.table.add(key, lambda data, _at: self.got.append((key, data.hex())))

    async def until(self, holds: Callable[[], object]) -> bool:
        """Tick for 15 seconds at most; return whether it came true."""
        end = time.monotonic() + 15
        while not holds() and time.monotonic() < end:
            self.link.tick(time.monotonic())
            await asyncio.sleep(0.02)
        return bool(holds())


async def both_ways() -> dict[str, Any]:
    """Frames there and back, own ones returned, and every other kind kept from handlers."""
    bus, other = Supervised(), node()
    for key in (0x7E8, 0x7DF, 0x18DB33F1 | EXTENDED, 0x040):
        bus.want(key)
    put(other, 0x7E8, b"\x41\x0c")
    put(other, 0x18DB33F1 | EXTENDED, bytes(8))
    put(other, 0x7E8 | 0x4000_0000)
    put(other, 0x040 | ERROR_FLAG, bytes(8))
    heard = await bus.until(lambda: bus.link.status(0).frames == 2 and bus.link.status(0).error_frames == 1)
    off = bus.link.state
    put(other, 0x123)
    await bus.until(lambda: bus.link.state is BusState.LISTENING)
    sent = bus.link.send(Frame(0x7DF, b"\x02\x01\x0c"), time.monotonic())
    returned = await bus.until(lambda: (0x7DF, "02010c") in bus.got)
    seen = [struct.unpack("=IB3x8s", other.recv(16))[0]]
    status = bus.link.status(time.monotonic())
    bus.link.close()
    return {
        "heard": heard,
        "got": bus.got,
        "bus off": off,
        "sent": sent,
        "returned": returned,
        "other saw": seen,
        "state": status.state,
        "foreign": status.foreign,
        "virtual": status.virtual,
    }


async def recorded() -> dict[str, Any]:
    """Whole frames with the kernel's stamps while somebody records."""
    bus, other = Supervised(), node()
    frames: list[Frame] = []
    bus.link.add_tap(frames.append)
    before = time.monotonic()
    for number in range(20):
        put(other, 0x100 + number)
        time.sleep(0.005)
    put(other, 0x040 | ERROR_FLAG, bytes(8))
    after = time.monotonic()
    await bus.until(lambda: len(frames) == 21)
    stamps = [frame.at for frame in frames]
    bus.link.close()
    return {
        "frames": len(frames),
        "errors": sum(frame.error for frame in frames),
        "within": before <= stamps[0] and stamps[-1] <= after,
        "spread": stamps[-1] - stamps[0] > 0.09,
        "ordered": stamps == sorted(stamps),
    }


async def flood() -> dict[str, Any]:
    """Thousands of frames as fast as one thread can send and receive them."""
    bus, other = Supervised(), node()
    bus.want(0x100)
    for number in range(3000):
        put(other, 0x100, number.to_bytes(2, "big"))
        if number % 16 == 15:
            await asyncio.sleep(0)
    await bus.until(lambda: len(bus.got) + bus.link.status(0).lost >= 3000)
    in_order = bus.got == sorted(bus.got)
    lost = bus.link.status(0).lost
    bus.link.close()
    return {"received": len(bus.got), "lost": lost, "in order": in_order}


async def overflow() -> dict[str, Any]:
    """More frames than the socket holds while nobody reads: the kernel's count of losses arrives."""
    bus, other = Supervised(), node()
    for _ in range(20_000):
        put(other, 0x100)
    await asyncio.sleep(0.1)
    put(other, 0x101)
    await bus.until(lambda: bus.link.status(0).lost)
    status = bus.link.status(0)
    bus.link.close()
    return {"read": status.frames, "lost": status.lost}


async def filtered() -> dict[str, Any]:
    """What the table does not have is kept out by the kernel."""
    bus, other = Supervised(filtered=True), node()
    bus.want(0x123)
    bus.link.tick(time.monotonic())
    for can_id in (0x122, 0x123 | EXTENDED, 0x123, 0x124):
        put(other, can_id)
    await bus.until(lambda: bus.got)
    status = bus.link.status(0)
    bus.link.close()
    return {"got": bus.got, "frames": status.frames}


async def down_and_up() -> dict[str, Any]:
    """The interface is switched off and on again."""
    bus, other = Supervised(), node()
    bus.want(0x123)
    put(other, 0x123, b"\x01")
    before = await bus.until(lambda: bus.got)
    ip("set", "vcan0", "down")
    absent = await bus.until(lambda: bus.link.state is BusState.ABSENT)
    sentence = bus.link.status(time.monotonic()).sentence
    await asyncio.sleep(0.6)
    still = bus.link.status(time.monotonic()).sentence
    ip("set", "vcan0", "up")
    await bus.until(lambda: bus.link.state is not BusState.ABSENT)
    put(node(), 0x123, b"\x02")
    after = await bus.until(lambda: len(bus.got) == 2)
    bus.link.close()
    return {"before": before, "absent": absent, "sentence": sentence, "still": still, "after": after, "got": bus.got}


async def deleted_and_back() -> dict[str, Any]:
    """The interface vanishes, as with a pulled plug, and comes back."""
    bus, other = Supervised(), node()
    bus.want(0x123)
    put(other, 0x123, b"\x01")
    await bus.until(lambda: bus.got)
    ip("delete", "vcan0")
    absent = await bus.until(lambda: bus.link.state is BusState.ABSENT)
    first = bus.link.status(time.monotonic()).sentence
    await bus.until(lambda: "not there" in bus.link.status(time.monotonic()).sentence)
    sentence = bus.link.status(time.monotonic()).sentence
    ip("add", "vcan0", "type", "vcan")
    ip("set", "vcan0", "up")
    await bus.until(lambda: bus.link.state is not BusState.ABSENT)
    put(node(), 0x123, b"\x02")
    after = await bus.until(lambda: len(bus.got) == 2)
    bus.link.close()
    return {"absent": absent, "first": first, "sentence": sentence, "after": after}


async def main() -> None:
    """Run everything on a fresh vcan0."""
    subprocess.run(["modprobe", "-a", "vcan", "can-raw"], check=True)
    ip("add", "vcan0", "type", "vcan")
    ip("set", "vcan0", "up")
    seen: dict[str, Any] = {"python": sys.version.split()[0], "interfaces": interfaces()}
    for part in (both_ways, recorded, flood, overflow, filtered, down_and_up, deleted_and_back):
        seen[part.__name__] = await asyncio.wait_for(part(), 60)
    print("SEEN", json.dumps(seen))


if __name__ == "__main__":
    asyncio.run(main())
