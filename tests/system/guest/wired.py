"""Scenes of `service.py` with a board: the unit reads and drives GPIO lines, has a panel on SPI and a light by PWM.

Its supply is one it holds itself, and a person who is logged in holds a power-off up.
"""

from __future__ import annotations

import base64
import grp
import json
import os
import subprocess
import time
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bench
from owning import CONFIG, ready, run, scene, shown, status, until

Seen = dict[str, Any]

LINES: list[Path] = []
"""The folder of the lines' levels, once they are there."""
OURS = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "values", "round_panel"]
[plugin.values.pages.key]
title = "key"
values = [{ signal = "vehicle.ignition" }]
[bus.drive]
interface = "socketcan"
channel = "vcan0"
[bus.comfort]
interface = "socketcan"
channel = "vcan1"
[input.key]
kind = "gpio"
signal = "vehicle.ignition"
line = "GPIO17"
[power]
supply = "held"
off_s = 1
goodbye_s = 2
linger_s = 4
up_s = 10
hold_line = "GPIO26"
[panel.main]
driver = "round_panel"
deck = ["boost"]
[panel.main.backlight]
kind = "pwm"
"""
TERMINAL = "/dev/tty2"
STAND_IN = Path("/run/systemd/system/poweroff.target")
"""Takes the place of the target that ends everything: what is asked for is seen, and the guest stays."""


def key(on: bool) -> None:
    """Turn it."""
    bench.pull(LINES[0], bench.KEY, on)


def group(path: Path) -> str:
    """Return the group of a file, and what it may do."""
    found = path.stat()
    return f"{grp.getgrgid(found.st_gid).gr_name} {found.st_mode >> 3 & 7:o}"


def duty() -> int:
    """Return how much of the time the light is on, in percent; -1 where the channel is not there."""
    channel = bench.PWM / "pwm0"
    try:
        return round(100 * int((channel / "duty_cycle").read_text()) / int((channel / "period").read_text()))
    except (OSError, ZeroDivisionError):
        return -1


def sent() -> str:
    """Return what went over SPI: of each transfer whether it was data, and its bytes; packed and spelt in letters."""
    parts = [(data, base64.b64encode(values).decode()) for _, data, values in bench.transfers()]
    return base64.b64encode(zlib.compress(json.dumps(parts).encode())).decode()


def board(seen: Seen) -> None:
    """Start on a board: the panel has its picture, then light; the key's wire is read, the supply's line driven."""
    bench.forget()
    key(True)
    CONFIG.write_text(OURS)
    STAND_IN.write_text("[Unit]\nDescription=a power-off that is only told\n")
    run("systemctl", "daemon-reload")
    begun = time.monotonic()
    run("systemctl", "restart", "underdash")
    found: Seen = {"ready": until(ready), "bright": until(lambda: duty() > 0, 30)}
    time.sleep(3)
    found["bright_percent"] = duty()
    found["sent"] = sent()
    key(False)
    found["off"] = until(lambda: "ignition off" in shown("StatusText"), 20)
    key(True)
    found["on"] = until(lambda: "ignition on" in shown("StatusText"), 20)
    found["input"] = [line for line in run("underdash", "status").stdout.splitlines() if "key" in line]
    found["held"] = bench.level(LINES[0], bench.HOLD)
    found["holders"] = bench.holders()
    found["groups"] = {
        "spi": group(Path("/dev/spidev0.0")),
        "lines": group(Path("/dev/gpiochip0")),
        "backlight": group(bench.LIGHT),
        "backlight power": group(bench.LIGHT.with_name("bl_power")),
        "pwm": group(bench.PWM / "export"),
        "pwm channel": group(bench.PWM / "pwm0/duty_cycle"),
    }
    written = run("journalctl", "--unit", "underdash", "--output", "cat", "--since", f"-{since(begun)}s").stdout
    found["log"] = [line for line in written.splitlines() if "level=info" not in line][-12:]
    found["exposure"] = run("systemd-analyze", "security", "underdash").stdout.strip().splitlines()[-1]
    seen["board"] = found
    scene(f"board: light {found['bright_percent']} %, supply held {found['held']}, key off {found['off']} s, "
          f"on {found['on']} s; lines {found['holders']}; {found['exposure']}")  # fmt: skip


def since(begun: float) -> int:
    """Return how many seconds ago something began."""
    return int(time.monotonic() - begun) + 1


def login(seen: Seen) -> None:
    """Key off while somebody is logged in: the power-off waits until they have gone, and is asked for then."""
    person = ["systemd-run", "--unit=person", "--uid=0", "-p", "PAMName=login"]
    run(*person, "-p", "StandardInput=tty", "-p", f"TTYPath={TERMINAL}", "sleep", "infinity")
    os.utime(TERMINAL)  # they type; a terminal that nobody uses for ten minutes holds nothing
    found: Seen = {}
    key(False)
    found["waits"] = until(lambda: "power-off waits for somebody is logged in" in shown("StatusText"), 60)
    found["sentence"] = status().get("power_off_waits")
    found["while it waits"] = [bench.level(LINES[0], bench.HOLD), active("poweroff.target")]
    run("systemctl", "stop", "person")
    found["asked"] = until(lambda: active("poweroff.target") == "active", 60)
    until(lambda: "halting" in shown("StatusText"), 20)  # its line is written with the watchdog's messages
    found["state"] = shown("StatusText")
    found["until it ends"] = bench.level(LINES[0], bench.HOLD)
    run("systemctl", "stop", "underdash")
    found["after"] = [bench.level(LINES[0], bench.HOLD), bench.holders(), duty()]
    found["sent"] = sent()
    run("systemctl", "stop", "poweroff.target")
    key(True)  # a daemon of this configuration that starts with the key off really powers the guest off
    STAND_IN.unlink()
    run("systemctl", "daemon-reload")
    seen["login"] = found
    scene(f"logged in: {found['sentence']!r}; asked for {found['asked']} s after they had gone; "
          f"the supply's line from {found['until it ends']} to {found['after'][0]}")  # fmt: skip


def active(unit: str) -> str:
    """Return whether a unit is active."""
    return subprocess.run(["systemctl", "is-active", unit], capture_output=True, text=True, check=False).stdout.strip()


SCENES: dict[str, Callable[[Seen], None]] = {"board": board, "login": login}
