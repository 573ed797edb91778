"""What a real journal and a real login manager say: the daemon as a unit, its log in sentences, and what check asks.

Prints what it saw as one line of JSON.
"""

from __future__ import annotations

import json
import os
import platform
import pwd
import subprocess
import sys
import time
from pathlib import Path

PATHS = "/project/daemon", "/packages"
CONFIG = """
format = 1
[car]
file = "/project/config/cars/obd2_11bit.toml"
[bus.drive]
interface = "virtual"
channel = "nobody"
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["status"]
"""
WAIT_S = 240.0


def told(*words: str) -> str:
    """Return what a command prints."""
    return subprocess.run(words, capture_output=True, text=True, check=False, timeout=120).stdout


def underdash(*words: str) -> subprocess.CompletedProcess[str]:
    """Run a command of the project."""
    environment = {**os.environ, "PYTHONPATH": ":".join(PATHS)}
    command = [sys.executable, "-m", "underdash", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False, env=environment, timeout=300)


def main() -> None:
    """Run the unit, ask, and print."""
    sys.path[:0] = PATHS
    from underdash.config.reading import read_config
    from underdash.wiring.needs import Needs
    from underdash.wiring.rights import Account, rights
    from underdash.wiring.system import may_power_off

    config = Path("/run/underdash.toml")
    config.write_text(CONFIG)
    subprocess.run(
        [
            "systemd-run",
            "--unit=underdash",
            f"--setenv=PYTHONPATH={':'.join(PATHS)}",
            "--setenv=XDG_STATE_HOME=/run/state",
            *(sys.executable, "-m", "underdash", "run", "--config", str(config)),
        ],
        check=True,
        capture_output=True,
    )
    end = time.monotonic() + WAIT_S
    entries: list[dict[str, str]] = []
    while time.monotonic() < end and not any("event=started" in one["MESSAGE"] for one in entries):
        time.sleep(2.0)
        lines = told("journalctl", "-o", "json", "-u", "underdash", "--no-pager").splitlines()
        entries = [json.loads(line) for line in lines]
    ours = [(one["MESSAGE"], one["PRIORITY"]) for one in entries if "event=" in one["MESSAGE"]]
    log = underdash("log")
    nobody = pwd.getpwnam("nobody")
    stranger = Account("nobody", nobody.pw_uid, frozenset({nobody.pw_gid}))
    serial = Needs(files=(("bus.drive", "/dev/ttyS0"),))
    # the unit must not power the guest off, as it would with this supply
    config.write_text(CONFIG.replace("switched", "held"))
    check = underdash("check", "--config", str(config))
    seen = {
        "python": platform.python_version(),
        "journal": ours,
        "log": [log.returncode, log.stdout.splitlines(), log.stderr],
        "may power off": [may_power_off(Account("root", 0, frozenset({0}))), may_power_off(stranger)],
        "serial": [str(one) for one in rights(read_config(config), serial, stranger, Path("/"))],
        "check": [check.returncode, check.stdout.splitlines(), check.stderr],
    }
    print("SEEN", json.dumps(seen))


if __name__ == "__main__":
    main()
