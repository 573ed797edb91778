"""Switching the machine off and on again, as a service; what is too late to be turned round is left to the unit."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Mapping
from pathlib import Path

import structlog

_log = structlog.get_logger()

AGAIN = "start-again"
"""A file in the runtime directory; where it is left, the unit restarts the machine once the daemon has ended."""
ASK_S = 10.0


class PowerOff:
    """Asks for it.

    The service manager refuses a restart while a power-off is under way. A key that comes back by then would find a
    machine that is off with its supply on, and nothing would start it again. So that is noted in a file, and the unit's
    ExecStopPost, which runs after the daemon and with all rights, makes a restart of it.

    Args:
        folder: the runtime directory.
        environment: of this process; nothing is done outside of a service, least of all from somebody's terminal.
    """

    def __init__(self, folder: Path, environment: Mapping[str, str] = os.environ) -> None:
        self._mark = folder / AGAIN
        self._environment = environment
        self.under_way = False
        """A power-off was asked for and taken, and no restart in its place."""

    def begin(self) -> None:
        """Forget what a life before may have left."""
        self._mark.unlink(missing_ok=True)

    def __call__(self, reboot: bool) -> None:
        """Switch the machine off, or restart it."""
        verb = "reboot" if reboot else "poweroff"
        if "INVOCATION_ID" not in self._environment:
            _log.warning("power_off_left_out", verb=verb, why="not run as a service")
            return
        error = self._asked(verb)
        if not error:
            self.under_way = not reboot
        elif reboot and self.under_way:
            self._leave_mark()
        else:
            _log.error("power_off_failed", verb=verb, error=error, next="see systemd/README.md for the rights")

    def _asked(self, verb: str) -> str:
        command = ["systemctl", verb, "--no-block"]
        try:
            done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=ASK_S)
        except (OSError, subprocess.SubprocessError) as exc:
            return str(exc)
        return (done.stderr.strip() or f"status {done.returncode}") if done.returncode else ""

    def _leave_mark(self) -> None:
        try:
            self._mark.touch()
        except OSError as exc:
            _log.error("power_off_failed", verb="reboot", error=str(exc), next="turn the key off and on again")
            return
        self.under_way = False
        _log.warning("power_off_turned_round")
