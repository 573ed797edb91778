"""Start to first page, what of it is imports, and resident memory; the baseline is an interpreter that does nothing."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from ...contract.errors import UnderdashError

CONFIG = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "temperatures", "page_turn"]
[bus.drive]
interface = "virtual"
channel = "drive"
[bus.comfort]
interface = "virtual"
channel = "comfort"
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["boost", "temperatures"]
[panel.main.settings]
file = "panel.png"
"""
BEFORE_FIRST_PAGE = (
    "import gc; gc.disable(); "
    "import underdash.cli.run, underdash.config.toml, underdash.wiring.first_page, underdash.display.panels.picture"
)
"""What `run` has loaded when its first page is in the panel of `CONFIG`; a test holds it against a real start."""
SETTLE_S = 3.0
GIVE_UP_S = 60.0
NOT_TOLD = (
    "STATE_DIRECTORY",
    "RUNTIME_DIRECTORY",
    "NOTIFY_SOCKET",
    "WATCHDOG_USEC",
    "INVOCATION_ID",
    "JOURNAL_STREAM",
    # a service compiles what it imports, unless somebody has done that already
    "PYTHONDONTWRITEBYTECODE",
)
"""What a daemon that is measured is not told: it takes no service's place, and starts as one does."""


def _environment() -> dict[str, str]:
    return {name: text for name, text in os.environ.items() if name not in NOT_TOLD}


def timed(command: list[str]) -> float:
    """Return how long a command takes, in seconds."""
    environment = _environment()
    begun = time.perf_counter()
    subprocess.run(command, check=True, env=environment)
    return time.perf_counter() - begun


def first_page(folder: Path, settle_s: float = SETTLE_S) -> tuple[float, float]:
    """Start the daemon on buses that lead nowhere.

    Args:
        folder: of its configuration, ``underdash.toml``; it keeps all its files there.
        settle_s: how long it runs before its memory counts.

    Returns:
        Seconds until its panel has a picture, and resident megabytes `settle_s` later.

    Raises:
        UnderdashError: it drew nothing.
    """
    picture = folder / "panel.png"
    picture.unlink(missing_ok=True)
    environment = _environment() | {"XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder)}
    command = [sys.executable, "-m", "underdash", "run", "--config", str(folder / "underdash.toml")]
    begun = time.perf_counter()
    with subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL) as daemon:
        try:
            while not picture.exists():
                if daemon.poll() is not None or time.perf_counter() - begun > GIVE_UP_S:
                    raise UnderdashError("the daemon drew nothing; run it by hand to see why")
                time.sleep(0.001)
            took = time.perf_counter() - begun
            time.sleep(settle_s)
            memory = resident_mb(daemon.pid)
        finally:
            daemon.send_signal(signal.SIGTERM)
    return took, memory


def resident_mb(pid: int) -> float:
    """Return a process's resident memory in MB (VmRSS of proc(5))."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024
