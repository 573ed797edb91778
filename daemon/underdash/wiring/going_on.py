"""What goes on when a description is read anew: whatever comes from where it came from before, and what rests on it.

A value whose field was moved or given another scale begins anew, and so does all that was computed or kept of it: the
highest pressure of a wrong scale is no pressure.
"""

from __future__ import annotations

from ..signals.store import Slot
from .assembly import Assembly
from .choices import CHOSEN


class GoingOn:
    """Has an assembly go on where another one is.

    Args:
        after: which.
        before: the one that is left.
    """

    def __init__(self, after: Assembly, before: Assembly) -> None:
        self._after, self._before = after, before
        self._slots: set[Slot] = set()
        self._slots.update(after.broadcasts.take_over(before.broadcasts))
        self._slots.update(after.asking.take_over(before.asking))
        self._wires()
        self._board()
        for slot in after.derived.take_over(before.derived, self.same):
            self._slots.add(slot)  # at once, since what is computed next may rest on it
        after.memory.take_over(before.memory, self.same)

    def same(self, signal: str) -> bool:
        """Say whether a signal comes from where it came from before, and from nowhere else."""
        slots, old = self._after.store.slots(signal), self._before.store.slots(signal)
        sources = {slot.source for slot in slots} | {CHOSEN}
        return self._slots.issuperset(slots) and {slot.source for slot in old} <= sources

    def _wires(self) -> None:
        known = {wire.name: wire for wire in self._before.wires}
        for wire in self._after.wires:
            old = known.get(wire.name)
            if old is not None and (old.item, old.slot.signal) == (wire.item, wire.slot.signal):
                self._take_over(wire.slot, old.slot)

    def _board(self) -> None:
        after, before = self._after.board, self._before.board
        if after is not None and before is not None:
            self._take_over(after.undervoltage, before.undervoltage)
            self._take_over(after.temperature, before.temperature)

    def _take_over(self, slot: Slot, before: Slot) -> None:
        slot.take_over(before)
        self._slots.add(slot)
