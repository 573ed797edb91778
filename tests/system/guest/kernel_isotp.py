"""Runs in the guest: both ISO-TP machines against the kernel's CAN_ISOTP socket; prints one JSON object."""

from __future__ import annotations

import errno
import json
import select
import socket
import struct
import subprocess
import sys
import time
from itertools import pairwise
from typing import Any

from underdash.diagnostics import addressing, pci
from underdash.diagnostics.addressing import Address
from underdash.diagnostics.reassembly import Reassembly
from underdash.diagnostics.segmentation import Segmentation

SOL_CAN_ISOTP, OPTIONS, RECEIVE_TERMS = 106, 1, 2
EXTEND_ADDRESS, PAD_SENT, RECEIVED_ADDRESS = 0x02, 0x04, 0x200
WIDE = 0x8000_0000
BIG_BUFFER = 33
"""SO_RCVBUFFORCE, which the socket module lacks."""
PADDING = 0xAA
LIMIT_S = 20.0

FORMATS = {
    "normal, 11 bit": Address(0x7E0, 0x7E8),
    "normal fixed": addressing.normal_fixed(0x10),
    "extended": Address(0x6F1, 0x612, False, 0x12, addressing.TESTER),
    "mixed": Address(0x6E0, 0x6E1, False, 0x5C, 0x5C),
    "mixed, an address of nought": Address(0x6E0, 0x6E1, False, 0x00, 0x00),
}
LENGTHS = (1, 6, 7, 8, 20, 111, 4095, 6000)


def sample(length: int) -> bytes:
    """Make a message in which every byte has its place."""
    return bytes((number * 31 + 7) % 256 for number in range(length))


class Unit:
    """A control unit whose transport is the kernel's."""

    def __init__(self, address: Address, block_size: int = 0, st_min: int = 0) -> None:
        self.socket = socket.socket(socket.AF_CAN, socket.SOCK_DGRAM, socket.CAN_ISOTP)
        flags, tx, rx = PAD_SENT, address.response_prefix, address.request_prefix
        if tx is not None:
            flags |= EXTEND_ADDRESS | RECEIVED_ADDRESS
        options = struct.pack("=IIBBBB", flags, 0, tx or 0, PADDING, PADDING, rx or 0)
        self.socket.setsockopt(SOL_CAN_ISOTP, OPTIONS, options)
        self.socket.setsockopt(SOL_CAN_ISOTP, RECEIVE_TERMS, bytes((block_size, st_min, 0)))
        wide = WIDE if address.extended else 0
        self.socket.bind(("vcan0", address.request_id | wide, address.response_id | wide))
        self.socket.setblocking(False)

    def got(self) -> bytes | None:
        """Return a whole message, if there is one."""
        try:
            return self.socket.recv(10_000)
        except BlockingIOError:
            return None


class Tester:
    """Our machines on a raw socket, in real time."""

    def __init__(self, address: Address) -> None:
        self.address = address
        self.wide = WIDE if address.extended else 0
        self.socket = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
        mask = 0x1FFF_FFFF | WIDE
        self.socket.setsockopt(
            socket.SOL_CAN_RAW, socket.CAN_RAW_FILTER, struct.pack("=II", address.response_id | self.wide, mask)
        )
        self.socket.setsockopt(socket.SOL_SOCKET, BIG_BUFFER, 1 << 22)  # a whole message comes in one burst
        self.socket.bind(("vcan0",))

    def put(self, data: bytes) -> None:
        """Send one frame."""
        data = pci.padded(data, 0x00)
        self.socket.send(struct.pack("=IB3x8s", self.address.request_id | self.wide, len(data), data))

    def heard(self, wait_s: float) -> bytes | None:
        """Return the data of the next frame of the unit, if one comes."""
        if not select.select([self.socket], [], [], max(0.0, wait_s))[0]:
            return None
        _, length, data = struct.unpack("=IB3x8s", self.socket.recv(16))
        return data[:length]

    def send(self, payload: bytes, unit: Unit) -> dict[str, Any]:
        """Send a message of ours to the unit."""
        ours = Segmentation(payload, self.address.request_prefix, reply_prefix=self.address.response_prefix)
        begun = time.monotonic()
        self.put(ours.start(begun))
        flows, got = 0, unit.got()
        while got is None and ours.broken is None and time.monotonic() - begun < LIMIT_S:
            wait_s = 0.01 if ours.deadline is None else min(0.01, ours.deadline - time.monotonic())
            data = self.heard(wait_s)
            if data is not None:
                flows += 1
                ours.receive(data, time.monotonic())
            for frame in ours.due(time.monotonic()):
                self.put(frame)
            ours.tick(time.monotonic())
            got = unit.got()
        return {"same": got == payload, "flows": flows, "took_s": time.monotonic() - begun, "broken": str(ours.broken)}

    def receive(self, payload: bytes, unit: Unit, **terms: int) -> dict[str, Any]:
        """Have the unit send a message to us."""
        ours = Reassembly(
            self.address.response_prefix, reply_prefix=self.address.request_prefix, most_bytes=10_000, **terms
        )
        begun = time.monotonic()
        unit.socket.send(payload)
        times: list[float] = []
        while time.monotonic() - begun < LIMIT_S:
            data = self.heard(1.0)
            if data is None:
                break
            times.append(time.monotonic())
            heard = ours.receive(data, times[-1])
            if heard.reply is not None:
                self.put(heard.reply)
            if heard.payload is not None or heard.broken is not None:
                gaps = [after - before for before, after in pairwise(times[1:])]
                return {"same": heard.payload == payload, "frames": len(times), "gaps_s": gaps}
        return {"same": False, "frames": len(times), "gaps_s": []}


def both_ways() -> dict[str, Any]:
    """Every length in every addressing format, to the unit and from it."""
    found = {}
    for name, address in FORMATS.items():
        unit, tester = Unit(address), Tester(address)
        found[name] = {
            "sent": [length for length in LENGTHS if tester.send(sample(length), unit)["same"]],
            "received": [length for length in LENGTHS if tester.receive(sample(length), unit)["same"]],
        }
    return found


def terms() -> dict[str, Any]:
    """Block sizes and separation times in both directions."""
    address = FORMATS["normal, 11 bit"]
    asked = Tester(address).send(sample(111), Unit(address, 4, 20))
    in_blocks = Tester(address).receive(sample(111), Unit(address), block_size=3)
    slowly = Tester(address).receive(sample(111), Unit(address), st_min=20)
    return {
        "sent": asked,
        "received": in_blocks["same"] and slowly["same"],
        "shortest_gap_s": min(slowly["gaps_s"]),
    }


def flow_control_said_by_hand(*flows: bytes) -> dict[str, Any]:
    """The unit sends 30 bytes and gets these flow controls one after the other; what it sends and says."""
    address = FORMATS["normal, 11 bit"]
    unit, tester = Unit(address), Tester(address)
    unit.socket.send(sample(30))
    frames = [tester.heard(1.0)]
    times = []
    for flow in flows:
        tester.put(flow)
        while (data := tester.heard(0.4)) is not None:
            times.append(time.monotonic())
            frames.append(data)
    error = unit.socket.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
    gaps = [after - before for before, after in pairwise(times)]
    named = errno.errorcode.get(error, "none")
    return {"later": len(frames) - 1, "error": named, "shortest_gap_s": min(gaps, default=0.0)}


def traffic_said_by_hand(*texts: str) -> dict[str, Any]:
    """The unit hears these frames; what it makes of them, and what we do."""
    address = FORMATS["normal, 11 bit"]
    unit, tester, ours = Unit(address), Tester(address), Reassembly(most_bytes=5000)
    faults, messages, theirs, errors = [], [], [], []
    for text in texts:
        heard = ours.receive(bytes.fromhex(text), time.monotonic())
        if heard.broken is not None:
            faults.append(heard.broken.fault)
        if heard.payload is not None:
            messages.append(heard.payload.hex())
        tester.put(bytes.fromhex(text))
        time.sleep(0.05)
        try:
            got = unit.got()
        except OSError as exc:
            errors.append(errno.errorcode.get(exc.errno or 0, str(exc)))
            continue
        if got is not None:
            theirs.append(got.hex())
    return {"faults": faults, "messages": messages, "theirs": theirs, "errors": errors}


FRAMES = ("101462F190414243", "214445464748494A", "224B4C4D4E4F5051")


def main() -> None:
    """Run everything on a fresh vcan0."""
    subprocess.run(["modprobe", "-a", "vcan", "can-raw", "can-isotp"], check=True)
    subprocess.run(["ip", "link", "add", "vcan0", "type", "vcan"], check=True)
    subprocess.run(["ip", "link", "set", "vcan0", "up"], check=True)
    seen = {
        "python": sys.version.split()[0],
        "both_ways": both_ways(),
        "terms": terms(),
        "reserved time": flow_control_said_by_hand(b"\x30\x00\x80"),
        "overflow": flow_control_said_by_hand(b"\x32\x00\x00"),
        "reserved status": flow_control_said_by_hand(b"\x37\x00\x00"),
        "wait": flow_control_said_by_hand(b"\x31\x00\x00", b"\x31\x00\x00", b"\x30\x00\x00"),
        "new terms": flow_control_said_by_hand(b"\x30\x01\x00", b"\x30\x02\x00"),
        "wrong number": traffic_said_by_hand(FRAMES[0], FRAMES[2], *FRAMES),
        "begun anew": traffic_said_by_hand(FRAMES[0], *FRAMES),
        "a single frame inside": traffic_said_by_hand(FRAMES[0], "03410D32", *FRAMES),
        "a broken frame inside": traffic_said_by_hand(FRAMES[0], "0F", FRAMES[1], FRAMES[2]),
        "of nought bytes": traffic_said_by_hand("00", *FRAMES),
        "a first frame for few": traffic_said_by_hand("1007010203040506", "2107", *FRAMES),
        "an escape for few": traffic_said_by_hand("1000000000090102", "2103040506070809", *FRAMES),
    }
    print("SEEN", json.dumps(seen))


if __name__ == "__main__":
    main()
