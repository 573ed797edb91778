"""Runs in the guest, under systemd: the daemon itself asks for the power-off, and the machine goes off or starts again.

    goes_off.py            # the key stays away
    goes_off.py back       # it comes back once the power-off is under way

Nothing on the disk can be written meanwhile. What the machine does is on its console; STILL UP: it did nothing.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from owning import log, make_read_only, ready, run, scene, shown, until

CONFIG = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost"]
[bus.drive]
interface = "socketcan"
channel = "vcan0"
transmit = true
[bus.comfort]
interface = "socketcan"
channel = "vcan1"
[power]
supply = "held"
off_s = 1.0
goodbye_s = 1.0
linger_s = 2.0
up_s = 10.0
[panel.main]
driver = "picture"
deck = ["boost"]
settings = { file = "/run/panel.png" }
"""
PANEL = Path("/run/panel.png")
PATHS = ":".join(["/project/daemon", "/packages", *(str(one) for one in Path("/project/plugins").iterdir())])
OWN_LINES = [
    line
    for line in Path("systemd/underdash.service").read_text().splitlines()
    if line.startswith(("ExecStopPost=+", "RuntimeDirectory", "Type="))
]
UNIT = [
    "[Service]",
    f"Environment=PYTHONPATH={PATHS} XDG_STATE_HOME=/root",
    "ExecStart=/usr/bin/python3 -m underdash run --config /run/underdash.toml",
    *OWN_LINES,
    "TimeoutStartSec=300",
    "TimeoutStopSec=60",
    "",
]
OFF_WITHIN_S = 120.0


def comes(holds: Callable[[], object], what: str) -> None:
    """Wait until something is so, and say it."""
    if until(holds, 240) is None:
        print(f"NOT SEEN {what}\n{log(0)[-3000:]}", flush=True)
        sys.exit(3)
    scene(what)


def main(key_back: bool) -> None:
    """Drive, switch the ignition off, and wait for the end."""
    run("modprobe", "-a", "vcan", "can-raw")
    for name in ("vcan0", "vcan1"):
        run("ip", "link", "add", name, "type", "vcan")
        run("ip", "link", "set", name, "up")
    Path("/run/underdash.toml").write_text(CONFIG)
    Path("/run/systemd/system/underdash.service").write_text("\n".join(UNIT))
    run("systemctl", "daemon-reload")
    comes(make_read_only, "nothing on the disk can be written")
    car = subprocess.Popen(
        [sys.executable, "tests/system/guest/car.py", "ON:900", "OFF:900", "ON:900"],
        env={**os.environ, "PYTHONPATH": PATHS},
        stdout=subprocess.DEVNULL,
    )
    run("systemctl", "start", "underdash")
    comes(lambda: ready() and PANEL.exists(), "the daemon runs, and shows its page")
    comes(lambda: "ignition on" in shown("StatusText"), "the ignition is on")
    car.send_signal(signal.SIGUSR1)
    comes(lambda: 'effect="power off"' in log(0), "the ignition is off, and the daemon asks for the power-off")
    if key_back:
        car.send_signal(signal.SIGUSR1)
    time.sleep(OFF_WITHIN_S)
    print(f"STILL UP\n{log(0)[-3000:]}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:] == ["back"])
