"""What decoding costs: a compiled listener with its slot. Times are processor time, the best of several rounds."""

from __future__ import annotations

import time
from collections.abc import Callable

from ...broadcast.decoder import compile_listener
from ...contract.layout import BroadcastListener
from ...contract.signals import Signal
from ...signals.store import Rank, Store

SIGNAL = Signal("vehicle.speed", "km/h", "speed", low=0.0, high=655.35)
LIMIT_US = 1.5
"""Of the 4 us for receiving, decoding and storing, what decoding and storing may take for a common field."""


def microseconds(call: Callable[[], object], calls: int, rounds: int) -> float:
    """Return the best round's processor time a call, less that of an empty call."""

    def once(what: Callable[[], object]) -> float:
        before = time.process_time()
        for _ in range(calls):
            what()
        return (time.process_time() - before) / calls * 1e6

    empty = min(once(lambda: None) for _ in range(rounds))
    return min(once(call) for _ in range(rounds)) - empty


def ours(listener: BroadcastListener) -> tuple[Callable[[bytes, float], None], Store]:
    """Return what decodes a frame of a listener, and the store it writes to."""
    store = Store({SIGNAL.name: SIGNAL})
    slot = store.slot(SIGNAL.name, "broadcast drive 1A0", Rank.BROADCAST, elastic=True)
    return compile_listener(listener, {SIGNAL.name: slot}).handle, store
