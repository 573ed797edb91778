"""Runs in the guest, under systemd: the machine goes off, the key comes back, and the unit makes a restart of it.

The service is a stand-in with the unit's own line and no rights, as the daemon's user has none by then.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

UNIT = Path("/run/systemd/system/turned.service")
LINES = [
    line
    for line in Path("systemd/underdash.service").read_text().splitlines()
    if line.startswith(("ExecStopPost=+", "RuntimeDirectory"))
]
SCRIPT = """
import json, signal, subprocess
from pathlib import Path
signal.sigwait([signal.SIGTERM])
done = subprocess.run(["systemctl", "reboot", "--no-block"], capture_output=True, text=True)
Path("/run/underdash/seen").write_text(json.dumps({"status": done.returncode, "said": done.stderr.strip()}))
if done.returncode and KEY_BACK:
    Path("/run/underdash/start-again").touch()
"""


def main(key_back: bool) -> None:
    """Switch the machine off while the unit runs."""
    script = SCRIPT.replace(
        "signal.sigwait", "signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGTERM])\nsignal.sigwait"
    )
    Path("/run/turned.py").write_text(script.replace("KEY_BACK", str(key_back)))
    told = "ExecStopPost=+/bin/sh -c 'echo SEEN $(cat /run/underdash/seen) > /dev/console'"
    service = ["[Service]", "User=nobody", "ExecStart=/usr/bin/python3 /run/turned.py", told, *LINES]
    UNIT.write_text("\n".join([*service, "TimeoutStopSec=20", ""]))
    subprocess.run(["systemctl", "daemon-reload"], check=True)
    subprocess.run(["systemctl", "start", "turned"], check=True)
    time.sleep(2)
    subprocess.run(["systemctl", "poweroff", "--no-block"], check=True)
    time.sleep(60)


if __name__ == "__main__":
    main(sys.argv[1:] == ["back"])
