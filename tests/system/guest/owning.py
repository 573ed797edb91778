"""What the scenes of `service.py` are told with: commands, waiting, the service's properties, and its screen."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

WHEELS = Path("/packages")
PLACE = Path("/opt/underdash")
CONFIG = Path("/etc/underdash/underdash.toml")
JOURNEY = Path("/var/lib/underdash/a-journey")
SCREEN = Path("/dev/fb0")
RUNTIME = Path("/run/underdash")


def scene(text: str) -> None:
    """Say in a line what was seen."""
    print(f"SCENE {text}", flush=True)


def run(*words: str, env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    """Run a command and return what came of it."""
    return subprocess.run(words, capture_output=True, text=True, check=False, env={**os.environ, **(env or {})})


def install(*words: str) -> dict[str, Any]:
    """Run the installer; returns its status, its last line and how long it took."""
    begun = time.monotonic()
    # both outputs in the order a person sees them in
    done = run("sh", "-c", 'systemd/install "$@" 2>&1', "install", *words)
    lines = done.stdout.strip().splitlines()
    return {"status": done.returncode, "said": lines, "s": round(time.monotonic() - begun, 1)}


def until(holds: Callable[[], object], seconds: float = 60.0) -> float | None:
    """Wait until something is true; returns how long it took, None if it did not come true."""
    begun = time.monotonic()
    while time.monotonic() - begun < seconds:
        if holds():
            return round(time.monotonic() - begun, 2)
        time.sleep(0.4)  # asking systemctl more often takes an emulated machine's whole processor
    return None


def shown(name: str) -> str:
    """Return a property of the service."""
    return run("systemctl", "show", "underdash", "--property", name, "--value").stdout.strip()


def lit() -> bool:
    """Say whether anything but black is on the screen."""
    return any(SCREEN.read_bytes()[: 320 * 240 * 2])


def ready() -> bool:
    """Say whether the service has said READY since it was started last."""
    return shown("ActiveState") == "active"


def show(page: str) -> None:
    """Turn the panel to a page."""
    with socket.socket(socket.AF_UNIX) as end:
        end.connect(str(RUNTIME / "underdash.sock"))
        end.sendall(json.dumps({"v": 1, "ask": "page", "with": {"show": page}}).encode() + b"\n")
        end.recv(10_000)
