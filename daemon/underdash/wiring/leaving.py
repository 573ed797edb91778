"""The way out: what is recorded goes to the disk, and only then does the machine go off; the loop waits for neither."""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import Protocol

import structlog

_log = structlog.get_logger()

FLUSH_S = 3.0
"""A card that takes longer may lose the last second; an accessory that never goes off costs the battery."""


class Done(Protocol):
    """Tells whether something has come to its end."""

    def is_set(self) -> bool:
        """Say whether it has."""


class Keeper(Protocol):
    """What a recorder does for the daemon."""

    def mark(self, text: str, at: float) -> None:
        """Put a remark into what is being recorded."""

    def flush(self) -> None:
        """Bring everything to the disk, and wait for that."""

    def begin_flush(self) -> Done:
        """Have everything brought to the disk; returns at once what tells when that is done."""


class Leaving:
    """Waits for the disk before the machine is switched off.

    Args:
        begin_flush: has everything recorded so far brought to the disk, by somebody else; tells when that is done.
        power_off: called when the machine is to be switched off (False) or restarted (True).
    """

    def __init__(self, begin_flush: Callable[[], Done | None], power_off: Callable[[bool], None]) -> None:
        self._begin_flush = begin_flush
        self._power_off = power_off
        self._flushed: Done | None = None
        self._until = -inf
        self._reboot: bool | None = None

    def flush(self, now: float) -> None:
        """Have what is recorded brought to the disk."""
        self._flushed = self._begin_flush()
        self._until = now + FLUSH_S

    def power_off(self, reboot: bool, now: float) -> None:
        """Switch the machine off, or restart it, as soon as the disk has everything; the newest word counts."""
        self._reboot = reboot
        self.tick(now)

    def tick(self, now: float) -> None:
        """Do what was waited for."""
        if self._reboot is None:
            return
        if self._flushed is not None and not self._flushed.is_set():
            if now < self._until:
                return
            _log.warning("flush_not_finished", why="the disk does not keep up")
        reboot, self._reboot, self._flushed = self._reboot, None, None
        self._power_off(reboot)
