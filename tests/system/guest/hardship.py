"""Runs in the guest: the daemon drives on while the clock jumps, its disk fills up and then cannot be written.

Prints a line a scene, and one JSON object with what was seen. The car is a process of its own on virtual buses.
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

STATE, RUNTIME, LOG = Path("/run/state"), Path("/run/daemon"), Path("/run/log")
CONFIG = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "temperatures"]
[bus.drive]
interface = "socketcan"
channel = "vcan0"
transmit = true
[bus.comfort]
interface = "socketcan"
channel = "vcan1"
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["temperatures", "boost"]
settings = { file = "/run/panel.png" }
[recording]
traces = true
folder = "/run/state/traces"
"""
PLUGINS = "".join(f":{one}" for one in Path("/project/plugins").iterdir() if one.is_dir())
SURROUNDINGS = {
    **os.environ,
    "PYTHONPATH": os.environ.get("PYTHONPATH", "") + PLUGINS,
    "STATE_DIRECTORY": str(STATE),
    "RUNTIME_DIRECTORY": str(RUNTIME),
}
WITHIN_S = 60.0


def run(*words: str) -> None:
    """Run a command that must work."""
    subprocess.run(words, check=True)


def start(*words: str, **given: Any) -> subprocess.Popen[str]:
    """Start a Python program of ours."""
    return subprocess.Popen([sys.executable, *words], text=True, env=SURROUNDINGS, **given)


def status() -> dict[str, Any]:
    """Ask the daemon how it is; nothing where it does not answer."""
    try:
        with socket.socket(socket.AF_UNIX) as end:
            end.settimeout(20)
            end.connect(str(RUNTIME / "underdash.sock"))
            end.sendall(b'{"v": 1, "ask": "status"}\n')
            line = b""
            while not line.endswith(b"\n"):
                line += end.recv(65536)
    except OSError:
        return {}
    table: dict[str, Any] = json.loads(line)
    return next((part for part in table.values() if isinstance(part, dict) and "guard" in part), table)


def passed() -> int:
    """Return how many requests went out."""
    return int(status().get("guard", {}).get("passed", 0))


def until(holds: Callable[[], object], seconds: float) -> bool:
    """Wait until something is true."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if holds():
            return True
        time.sleep(1)
    return False


def goes_on() -> bool:
    """Say whether more requests go out."""
    before = passed()
    return until(lambda: passed() > before + 10, WITHIN_S)


def told(words: str) -> bool:
    """Say whether the log has these words within a while."""
    return until(lambda: words in LOG.read_text(), WITHIN_S)


def scene(text: str) -> None:
    """Say in a line what was seen."""
    print(f"SCENE {text}", flush=True)


def main() -> None:
    """Play it."""
    seen: dict[str, Any] = {"python": sys.version.split()[0]}
    run("modprobe", "-a", "vcan", "can-raw")
    for name in ("vcan0", "vcan1"):
        run("ip", "link", "add", name, "type", "vcan")
        run("ip", "link", "set", name, "up")
    for place in (STATE, RUNTIME):
        place.mkdir()
    run("mount", "-t", "tmpfs", "-o", "size=24m", "state", str(STATE))
    config = Path("/run/underdash.toml")
    config.write_text(CONFIG)
    with LOG.open("w") as log:
        daemon = start("-m", "underdash", "run", "--config", str(config), stderr=log)
        seen["started"] = until(status, 150)
        car = start(
            "tests/system/guest/car.py", "LOCK:6", "OFF:6", "ON:10", "START:3", "ON:600", stdout=subprocess.DEVNULL
        )
        seen["driving"] = until(lambda: passed() > 10, 150)
        now = status()
        scene(f"driving: {passed()} requests, {now['ignition']}, closed {now['closed']}, {now['car']}, {now['guard']}")
        run("date", "-s", "2031-01-01")
        seen["after the clock jumped"] = goes_on() and status()["ignition"]["position"] == "on"
        scene(f"clock five years on: requests go on: {seen['after the clock jumped']}")
        Path(STATE, "filler").write_bytes(b"")
        with Path(STATE, "filler").open("wb", buffering=0) as filler:
            try:
                while True:
                    filler.write(bytes(65536))
            except OSError:
                pass
        seen["disk full"] = {"told": told("recording_ended"), "goes on": goes_on()}
        scene(f"disk full: {seen['disk full']}")
        run("mount", "-o", "remount,ro", str(STATE))
        seen["read only"] = goes_on()
        scene(f"disk read-only: requests go on: {seen['read only']}")
        daemon.terminate()
        seen["ended"] = daemon.wait(60)
        car.kill()
    seen["log"] = [line for line in LOG.read_text().splitlines() if "level=info" not in line][-12:]
    print("SEEN", json.dumps(seen))


if __name__ == "__main__":
    main()
