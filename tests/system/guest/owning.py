"""What the scenes of `service.py` are told with: commands, waiting, the service's properties, and its screen."""

from __future__ import annotations

import base64
import json
import os
import socket
import subprocess
import time
import zlib
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


def until(holds: Callable[[], object], seconds: float = 60.0, *, pause_s: float = 0.4) -> float | None:
    """Wait until something is true; returns how long it took, None if it did not come true."""
    begun = time.monotonic()
    while time.monotonic() - begun < seconds:
        if holds():
            return round(time.monotonic() - begun, 2)
        time.sleep(pause_s)  # asking systemctl more often takes an emulated machine's whole processor
    return None


def shown(name: str) -> str:
    """Return a property of the service."""
    return run("systemctl", "show", "underdash", "--property", name, "--value").stdout.strip()


def lit() -> bool:
    """Say whether anything but black is on the screen."""
    return any(SCREEN.read_bytes()[: 320 * 240 * 2])


def picture() -> str:
    """Return what is on the screen, 16 bits a pixel, packed and spelt in letters."""
    return base64.b64encode(zlib.compress(SCREEN.read_bytes()[: 320 * 240 * 2])).decode()


def asked(request: str, **words: object) -> dict[str, Any]:
    """Ask the daemon over its socket, since starting a command takes an emulated machine seconds; {} without answer."""
    line = b""
    try:
        with socket.socket(socket.AF_UNIX) as end:
            end.settimeout(30)
            end.connect(str(RUNTIME / "underdash.sock"))
            end.sendall(json.dumps({"v": 1, "ask": request, "with": words}).encode() + b"\n")
            while not line.endswith(b"\n") and (more := end.recv(65536)):
                line += more
        answer: dict[str, Any] = json.loads(line)["answer"]
    except (OSError, ValueError, KeyError):
        return {}
    return answer


def status() -> dict[str, Any]:
    """Return how the daemon is; nothing where it does not answer."""
    told = asked("status")
    found: dict[str, Any] = next((part for part in told.values() if isinstance(part, dict) and "guard" in part), told)
    return found


def log(since: float) -> str:
    """Return what the service wrote to the journal since a time of the monotonic clock."""
    back = f"-{int(time.monotonic() - since) + 1}s"
    return run("journalctl", "--unit", "underdash", "--output", "cat", "--since", back).stdout


def ready() -> bool:
    """Say whether the service has said READY since it was started last."""
    return shown("ActiveState") == "active"


def make_read_only() -> bool:
    """Take from every disk that anything can be written, whoever writes, as the kernel does with one that is worn out.

    Returns:
        whether the root is read only then; the kernel's own documentation of SysRq calls this an emergency remount.
    """
    Path("/proc/sysrq-trigger").write_text("u")
    return until(lambda: "ro" in root_options(), 30) is not None


def root_options() -> list[str]:
    """Return how the root is mounted, as the kernel lists it (proc_pid_mounts(5))."""
    mounts = [line.split() for line in Path("/proc/self/mounts").read_text().splitlines()]
    return next(mount[3].split(",") for mount in reversed(mounts) if mount[1] == "/")


def show(page: str) -> None:
    """Turn the panel to a page."""
    asked("page", show=page)
