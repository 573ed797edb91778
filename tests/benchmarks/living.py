"""What the daemon takes while it drives and while it sleeps: processor time and memory of its own process.

A drive of the simulated car is played to it at its own pace, with both buses, a panel of four pages, and an ignition
that goes off at the end. Requests and their answers are missing, since nothing is sent into a recorded drive.
Run: python tests/benchmarks/living.py [seconds of each]
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from math import inf
from pathlib import Path

from underdash.bus.frames import Frame
from underdash.bus.memory import MemoryBus
from underdash.bus.port import QuietEvents
from underdash.bus.table import Table
from underdash.bus.trace import TraceWriter
from underdash.pace import paced_loop
from underdash.simulator.car import SimulatedCar
from underdash.simulator.cars import simulated
from underdash.simulator.driver import Phase
from underdash.simulator.station import Station
from underdash.wiring.assembly import choose_car, load_bundled
from underdash.wiring.measuring.starting import resident_mb

CONFIG = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "temperatures", "battery", "ignition_timing", "page_turn"]
[bus.drive]
interface = "trace"
channel = "drive.log"
[bus.comfort]
interface = "trace"
channel = "drive.log"
[power]
supply = "switched"
off_s = 1.0
goodbye_s = 1.0
linger_s = 2.0
[panel.main]
driver = "picture"
deck = ["boost", "temperatures", "battery", "ignition_timing"]
"""
AWAKE_PERCENT, ASLEEP_PERCENT, MEMORY_MB = 12.0, 0.5, 60.0
BEGIN_S, END_S = 12.0, 8.0
"""From the start until it is in full swing, and from the key until it sleeps."""


def record(path: Path, seconds: float) -> int:
    """Have the simulated car drive for so long, and write down what its buses carry; returns how many frames."""
    phases = (
        Phase("key in", 2, "OFF"),
        Phase("on", 3),
        Phase("starter", 1, "START"),
        Phase("driving", BEGIN_S + seconds, speed_kmh=60.0),
        Phase("off", END_S, "OFF"),
    )
    model, _ = simulated("tarn")
    description, _ = choose_car("tarn", load_bundled())
    loop = paced_loop(inf)
    buses = {bus.role: MemoryBus(bus.role) for bus in description.buses}
    count = 0
    with TraceWriter(path) as writer:

        def tap(role: str) -> QuietEvents:
            def take(frame: Frame) -> None:
                nonlocal count
                count += 1
                writer.write(role, frame)

            events = QuietEvents()
            events.tap = take
            return events

        for role, bus in buses.items():
            bus.port(silent=True).open(loop, Table(), tap(role))
        ports = {role: bus.port() for role, bus in buses.items()}
        station = Station(SimulatedCar(description, model, phases, 1), ports, loop)
        station.start()
        loop.call_later(sum(phase.seconds for phase in phases), loop.stop)
        loop.run_forever()
        station.stop()
    loop.close()
    return count


def cpu_s(pid: int) -> float:
    """Return the processor time of a process so far, in seconds (utime and stime of proc(5))."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def share(pid: int, seconds: float) -> float:
    """Return how much of a core a process takes for a while, in per cent."""
    before, begun = cpu_s(pid), time.monotonic()
    time.sleep(seconds)
    return 100.0 * (cpu_s(pid) - before) / (time.monotonic() - begun)


def bare_mb() -> float:
    """Return the resident memory of an interpreter that does nothing."""
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as bare:
        time.sleep(1.0)
        memory = resident_mb(bare.pid)
        bare.communicate(b"\n")
    return memory


def main(seconds: float = 20.0) -> int:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "underdash.toml").write_text(CONFIG)
        frames = record(folder / "drive.log", seconds)
        environment = os.environ | {"XDG_RUNTIME_DIR": name, "XDG_STATE_HOME": name}
        command = [sys.executable, "-m", "underdash", "run", "--config", str(folder / "underdash.toml")]
        with subprocess.Popen(command, env=environment, stderr=(folder / "log").open("wb")) as daemon:
            try:
                time.sleep(BEGIN_S)
                awake, awake_mb = share(daemon.pid, seconds), resident_mb(daemon.pid)
                time.sleep(6.0 + 2.0 * END_S)
                asleep, asleep_mb = share(daemon.pid, seconds), resident_mb(daemon.pid)
            finally:
                daemon.send_signal(signal.SIGTERM)
        sleeps = "state=asleep" in (folder / "log").read_text()
    bare = bare_mb()
    rate = frames / (6.0 + BEGIN_S + seconds + END_S)
    print(f"one process, over {seconds:.0f} s each; {rate:.0f} frames a second on two buses while it drives")
    for label, value, budget, unit in (
        ("awake", awake, AWAKE_PERCENT, "% of a core"),
        ("asleep", asleep, ASLEEP_PERCENT, "% of a core"),
        ("resident, awake", awake_mb, MEMORY_MB, "MB"),
        ("resident, asleep", asleep_mb, MEMORY_MB, "MB"),
    ):
        beside = f"  {value / bare:5.1f} x bare ({bare:.1f})" if unit == "MB" else ""
        verdict = "kept" if value <= budget else "missed"
        print(f"  {label:<18} {value:7.2f} {unit:<12} budget {budget:5.1f}  {verdict}{beside}")
    if not sleeps:
        print("  it never fell asleep: what stands for asleep is none")
    return 0 if sleeps else 1


if __name__ == "__main__":
    sys.exit(main(float(sys.argv[1]) if len(sys.argv) > 1 else 20.0))
