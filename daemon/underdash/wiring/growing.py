"""A daemon that grows: the plug-in that holds what came is suspended; where that does not help, it begins anew."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import structlog

from ..service.growth import Grown, Growth, used_mb
from ..service.ledger import Ledger
from ..service.looking import Looking

_log = structlog.get_logger()

LOOK_S = 2.0


class Growing:
    """Looks after the daemon's memory, in a thread of its own.

    Args:
        loop: the daemon's; what is found is dealt with on it.
        growth: judges.
        suspend: called with (plug-in, reason).
        ledger: keeps who is suspected, for the life after one that the kernel ended.
        used: what this process takes, in MB.

    Attributes:
        suspected: the plug-in that held most of it, "" where none is known to.
        too_large: how the daemon was ended by this; "" while it was not.
    """

    def __init__(
        self,
        loop: asyncio.AbstractEventLoop,
        growth: Growth,
        suspend: Callable[[str, str], None],
        ledger: Ledger,
        used: Callable[[], float] = used_mb,
    ) -> None:
        self._loop = loop
        self._growth = growth
        self._suspend = suspend
        self._ledger = ledger
        self._looking = Looking(lambda: growth.look(used(), loop.time()), LOOK_S, self._hand_over)
        self.suspected = ""
        self.too_large = ""

    def start(self) -> None:
        """Begin to look."""
        self._looking.start()

    def stop(self) -> None:
        """End."""
        self._looking.stop()

    def reloaded(self) -> None:
        """Take note that plug-ins brought their own anew, which is nobody's leak."""
        self._growth.anew()

    def _hand_over(self, grown: Grown | None) -> None:
        if grown is None:
            return
        try:
            self._loop.call_soon_threadsafe(self.take, grown)
        except RuntimeError:  # the loop has ended
            return

    def take(self, grown: Grown) -> None:
        """Do what there is to do."""
        self.suspected = grown.plugin or self.suspected
        self._ledger.suspect(f"its memory had grown to {grown.used_mb:.0f} MB", self.suspected)
        if grown.too_large:
            self.too_large = f"took too much memory ({grown.used_mb:.0f} MB)"
            self._loop.stop()
            return
        if not grown.judged:
            return
        whose = f"plug-in {grown.plugin} holds it" if grown.plugin else "whose code holds it cannot be told"
        _log.warning("memory_grows", text=f"{grown.sentence}; {whose}")
        if grown.plugin:
            self._suspend(grown.plugin, f"it holds more and more memory: the daemon {grown.sentence}")
