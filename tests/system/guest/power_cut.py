"""Runs in the guest: writes to a disk until the power is gone, or looks what is left; prints lines the test reads.

Limits of the stand-in: qemu keeps what the guest has handed to the disk, in order, so there are no torn sectors, no
disk that lies about what it has written, and none of what an SD card does.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from underdash.bus.frames import Frame
from underdash.bus.trace import TraceWriter, read_trace
from underdash.contract.cars import CarDescription
from underdash.wiring.kept import Kept

DISK = Path("/run/disk")
FRAMES = 200


def write() -> None:
    """Keep state and write a trace for ever; say after each round that it is on the disk."""
    kept = Kept(DISK / "state.json")
    trace = TraceWriter(DISK / "drive.log", {"version": "a test"})
    number = 0
    while True:
        number += 1
        for frame in range(FRAMES):
            trace.write("drive", Frame(0x3A6, number.to_bytes(4, "big"), at=number + frame / 1000))
        trace.flush(durable=True)
        kept.keep(CarDescription(f"car {number}", "", ()), {}, quiet=False)  # each round adds a car
        print(f"DURABLE {number} ", flush=True)


def look() -> None:
    """Say what can be read after the cut."""
    table: dict[str, Any] = {"files": sorted(one.name for one in DISK.iterdir())}
    table["cars"] = len(json.loads((DISK / "state.json").read_text())["ignition_seen"])
    numbers = [int.from_bytes(frame.data, "big") for _, frame in read_trace(DISK / "drive.log")]
    table["frames"] = len(numbers)
    table["in order"] = numbers == sorted(numbers)
    table["python"] = sys.version.split()[0]
    print("SEEN", json.dumps(table))


if __name__ == "__main__":
    DISK.mkdir()
    subprocess.run(["mount", "/dev/vdb", str(DISK)], check=True)
    if sys.argv[1] == "write":
        write()
    look()
    subprocess.run(["umount", str(DISK)], check=True)
