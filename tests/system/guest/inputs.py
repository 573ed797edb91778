"""Lines of the kernel's gpio-sim, read by the daemon's own code: edges, debouncing, pull, a lost chip that comes back.

Prints what it saw as one line of JSON.
"""

from __future__ import annotations

import asyncio
import json
import platform
import subprocess
import sys
import time
from pathlib import Path

from underdash.contract.errors import UnderdashError
from underdash.contract.sources import Input, InputKind, Pull
from underdash.inputs.compiling import Named, compile_inputs
from underdash.inputs.station import Inputs
from underdash.service.lines import CONSUMER, holder, input_line
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Slot, Store

CONFIGFS = Path("/sys/kernel/config")
CHIP = CONFIGFS / "gpio-sim" / "car"
LINES = {3: "IGN", 4: "PUSH"}
KEY = Named("key", Input("vehicle.ignition", InputKind.GPIO, "IGN", debounce_s=0.02))
PUSH = Named("push", Input("button.panel", InputKind.GPIO, "PUSH", inverted=True, pull=Pull.UP, debounce_s=0.0))


def make_chip() -> Path:
    """Make the lines, or make them again; return the folder of their levels."""
    bank = CHIP / "bank"
    if not bank.exists():
        bank.mkdir(parents=True)
        (bank / "num_lines").write_text("8")
        for offset, label in LINES.items():
            (bank / f"line{offset}").mkdir()
            (bank / f"line{offset}" / "name").write_text(label)
    (CHIP / "live").write_text("1")
    name = (bank / "chip_name").read_text().strip()
    return Path("/sys/devices/platform") / (CHIP / "dev_name").read_text().strip() / name


def pull(levels: Path, offset: int, up: bool) -> None:
    """Move a line as the world outside would."""
    (levels / f"sim_gpio{offset}" / "pull").write_text("pull-up" if up else "pull-down")


async def follow() -> dict[str, object]:
    """Run the inputs on a real loop and move the lines under them."""
    levels = make_chip()
    pull(levels, 3, False)
    store = Store(CATALOGUE)
    made = compile_inputs([KEY, PUSH], store, CATALOGUE)
    loop = asyncio.get_running_loop()
    lost: list[str] = []
    inputs = Inputs(made.wires, loop, lost=lambda wire: lost.append(wire.name))
    said: list[tuple[object, float, float]] = []
    pressed: list[object] = []

    def key(slot: Slot) -> None:
        said.append((slot.value, slot.at, loop.time()))

    store.watch("vehicle.ignition", key)
    store.watch("button.panel", lambda slot: pressed.append(slot.value))
    inputs.start()
    found: dict[str, object] = {"problems": made.problems, "first": said[-1][0], "unpressed": pressed[-1]}
    found["holder"] = holder("IGN")
    try:
        input_line("IGN")
    except UnderdashError as exc:
        found["second taker"] = str(exc)

    before = len(said)
    moved_at = time.monotonic()
    pull(levels, 3, True)
    await asyncio.sleep(0.15)
    on = next(one for one in said[before:] if one[0] == "ON")
    found["on after ms"] = round((on[2] - moved_at) * 1000)
    found["stamped after ms"] = round((on[1] - moved_at) * 1000)

    before = len(said)
    for up in (False, True) * 3:  # shorter than the debouncing
        pull(levels, 3, up)
    await asyncio.sleep(0.15)
    found["bounced"] = sorted({str(value) for value, _, _ in said[before:]})

    pressed.clear()
    for up in (False, True, False, True):
        pull(levels, 4, up)
        time.sleep(0.03)  # the loop is held up meanwhile, as by something slow: no press may be lost by that
    await asyncio.sleep(0.1)
    found["presses"] = [a for a, b in zip(pressed, [None, *pressed], strict=False) if a != b]

    (CHIP / "live").write_text("0")
    await asyncio.sleep(1.2)
    found["gone"] = [one.trouble.ails.value for one in inputs.status(loop.time())]
    found["lost"] = sorted(lost)
    found["value of gone"] = store.read("vehicle.ignition", loop.time()).value
    pull(make_chip(), 3, True)
    await asyncio.sleep(6.0)
    found["back"] = [one.trouble.ails.value for one in inputs.status(loop.time())]
    found["value of back"] = store.read("vehicle.ignition", loop.time()).value

    inputs.stop()
    found["given back"] = holder("IGN")
    return found


def main() -> None:
    """Make the lines and follow them."""
    subprocess.run(["modprobe", "gpio-sim"], check=True)
    if not (CONFIGFS / "gpio-sim").exists():
        subprocess.run(["mount", "-t", "configfs", "c", str(CONFIGFS)], check=True)
    found = asyncio.run(follow())
    found["ours"] = CONSUMER
    print("SEEN", json.dumps({"python": platform.python_version(), **found}))
    sys.stdout.flush()


if __name__ == "__main__":
    if subprocess.run(["modprobe", "-n", "gpio-sim"], check=False, capture_output=True).returncode:
        print("SEEN", json.dumps({"python": platform.python_version(), "missing": "gpio-sim"}))
    else:
        main()
