"""What the service manager hears of the running daemon: that it goes on, and how it is, in one line."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import structlog

from ..service.watchdog import LOOKS, Progress
from ..service.witness import Witness
from .daemon import Daemon
from .status import Status

_log = structlog.get_logger()

WITNESS_LOOKS = 3
"""After so many looks that did not come it is written down where all stands, before the watchdog's time is over."""
STATUS_S = 5.0
"""How often the line is looked at where nobody watches."""


class Heartbeat:
    """Feeds the watchdog and keeps the status line; the loop's own timers carry it, so it stops when the loop does.

    Args:
        loop: the daemon's.
        progress: what `progress` returns of the daemon at a time of the loop.
        status: how the daemon is.
        tell: sends assignments to the service manager.
        watchdog_s: within which it wants to be fed; None if it does not watch.
        witness: writes down where everything stands when that time comes.
    """

    def __init__(
        self,
        loop: asyncio.AbstractEventLoop,
        progress: Callable[[float], tuple[dict[str, int], set[str]]],
        status: Callable[[], Status],
        tell: Callable[..., object],
        watchdog_s: float | None,
        *,
        witness: Witness | None = None,
    ) -> None:
        self._loop = loop
        self._look = progress
        self._status = status
        self._tell = tell
        self._watched = watchdog_s is not None
        self._every_s = STATUS_S if watchdog_s is None else watchdog_s / LOOKS
        self._witness = witness
        self._progress = Progress()
        self._still: tuple[str, ...] = ()
        self._said = ""
        self._timer: asyncio.TimerHandle | None = None

    def start(self) -> None:
        """Begin."""
        self.beat()

    def stop(self) -> None:
        """End."""
        if self._timer is not None:
            self._timer.cancel()

    def beat(self) -> None:
        """Look once, tell what there is to tell, and come back."""
        self._timer = self._loop.call_later(self._every_s, self.beat)
        still = self._progress.look(*self._look(self._loop.time()))
        if still and still != self._still:
            _log.error("stands_still", parts=", ".join(still))
            if self._witness is not None:
                self._witness.still()
        elif not still and self._witness is not None:
            self._witness.alive(self._every_s * WITNESS_LOOKS)
        self._still = still
        said = sentence(self._status(), still)
        words = [f"STATUS={said}"] if said != self._said else []
        self._said = said
        if self._watched and not still:
            words.append("WATCHDOG=1")
        if words:
            self._tell(*words)


def progress(daemon: Daemon, now: float) -> tuple[dict[str, int], set[str]]:
    """Return how often each part of a daemon did its work, and which have nothing to do.

    The loop counts whole rounds only, in which buses, power and fingers were looked at and panels got their picture.
    """
    counts = {"the loop": daemon.rounds, "sending": daemon.sending.pumped}
    idle = set() if daemon.sending.overdue(now) else {"sending"}
    for screen in daemon.screens:
        counts[f"panel {screen.name}"] = screen.renderer.beats
    return counts, idle


def sentence(status: Status, still: tuple[str, ...] = ()) -> str:
    """Say in one line how a daemon is; names and states only, so that it does not change with every frame."""
    buses = ", ".join(f"{bus.role} {bus.state.value}" for bus in status.buses) or "none"
    pages = ", ".join(f"{page} on {panel}" for panel, page in status.pages) or "none"
    parts = [f"{status.power.value}, ignition {status.ignition.position.value}", f"buses: {buses}", f"pages: {pages}"]
    if status.hold:
        parts.append("power-off waits for " + status.hold.partition(": ")[2])
    if status.quiet:
        parts.append("quiet")
    if status.faults:
        more = f" and {len(status.faults) - 1} more" if len(status.faults) > 1 else ""
        parts.append(f"fault: {status.faults[-1]}{more}")
    if still:
        parts.append(f"standing still: {', '.join(still)}")
    return "; ".join(parts)
