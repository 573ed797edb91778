"""Values on show are shown when they come, not when it is next looked."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Collection
from math import inf

from ..signals.store import Slot, Store

LEAST_GAP_S = 0.02
"""Twice as often as a panel gets pictures, so that the newest value is always waiting when it may get one."""


class Hurry:
    """Calls soon after a value that is on show has come, but not too often.

    Args:
        loop: its clock and calls.
        store: where values arrive.
        called: what to do.
        gap_s: least time between two calls.
    """

    def __init__(
        self, loop: asyncio.AbstractEventLoop, store: Store, called: Callable[[], object], gap_s: float = LEAST_GAP_S
    ) -> None:
        self._loop = loop
        self._store = store
        self._called = called
        self._gap_s = gap_s
        self._names: frozenset[str] = frozenset()
        self._called_at = -inf
        self._timer: asyncio.TimerHandle | None = None

    def follow(self, names: Collection[str]) -> None:
        """Look out for these signals from now on."""
        wanted = frozenset(names)
        for name in self._names - wanted:
            self._store.unwatch(name, self._came)
        for name in wanted - self._names:
            self._store.watch(name, self._came)
        self._names = wanted

    def looked(self) -> None:
        """Note that everything that has come so far is shown."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def stop(self) -> None:
        """Call no more."""
        self.follow(())
        self.looked()

    def _came(self, slot: Slot) -> None:
        if self._timer is None:
            # by the loop even if it is due, since more values may come with the same frame
            self._timer = self._loop.call_at(max(self._loop.time(), self._called_at + self._gap_s), self._call)

    def _call(self) -> None:
        self._timer, self._called_at = None, self._loop.time()
        self._called()
