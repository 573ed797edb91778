"""The machine that the daemon runs on: its supply and its heat as signals and sentences, and what holds a power-off."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import inf

import structlog

from ..config.findings import Finding, Level
from ..contract.signals import Quality
from ..power.holds import Hold
from ..service.board import Board
from ..service.looking import Looking
from ..service.sessions import somebody_logged_in
from ..service.updates import update_running
from ..signals.store import Rank, Slot, Store

_log = structlog.get_logger()

LOOK_S = 2.0
"""As often as the Pi's driver renews its alarm; a dip between two looks would be missed otherwise."""
DIP_SHOWN_S = 10.0
HOT_C = 80.0
"""From here a Raspberry Pi slows itself down (from memory: 80 degC soft, 85 degC hard limit)."""
COOL_C = 75.0
SOURCE = "board"
LOW = (
    "board supply too low",
    "the board's own supply is below 4.63 V: use a stronger converter, or a shorter and thicker wire to the board",
)
HOT = (
    "board too hot",
    f"the processor is above {HOT_C:g} degC and slows down: give the board air, or a place out of the sun",
)


@dataclass(frozen=True, slots=True)
class BoardSlots:
    """Where its values go."""

    undervoltage: Slot
    temperature: Slot


def board_slots(store: Store) -> BoardSlots:
    """Make places for what the board says; a sensor of the owner's for the same signal goes before."""
    names = ("board.undervoltage", "board.temperature")
    return BoardSlots(*(store.slot(name, SOURCE, Rank.INPUT, period_s=LOOK_S) for name in names))


@dataclass(frozen=True, slots=True)
class Seen:
    """What one look saw; None where the board does not say."""

    undervoltage: bool | None = None
    temperature: float | None = None
    holds: frozenset[Hold] = frozenset()


def findings(seen: Seen) -> Iterator[Finding]:
    """Say what `check` sees of the board at this moment."""
    if seen.undervoltage:
        yield Finding(Level.WARNING, LOW[1].partition(":")[0], LOW[1].partition(": ")[2])
    if seen.temperature is not None and seen.temperature >= HOT_C:
        sentence = f"{HOT[1].partition(':')[0]}, it is at {seen.temperature:.0f}"
        yield Finding(Level.WARNING, sentence, HOT[1].partition(": ")[2])


def look(board: Board) -> Seen:
    """Look at all of it; it takes about a millisecond, and longer where a card or a bus does."""
    found = ((Hold.LOGGED_IN, somebody_logged_in()), (Hold.UPDATING, update_running()))
    return Seen(board.undervoltage(), board.temperature(), frozenset(hold for hold, there in found if there))


class Host:
    """Keeps an eye on the machine; without slots it is nobody's machine, and nothing is looked at.

    Args:
        slots: where values go.
        loop: the event loop; what is seen is taken on it.
        looks: looks once; called in a thread.

    Attributes:
        holds: what speaks against a power-off.
        notes: a few words for every page.
        faults: the same in sentences, with what to do.
    """

    def __init__(
        self,
        slots: BoardSlots | None = None,
        loop: asyncio.AbstractEventLoop | None = None,
        looks: Callable[[], Seen] | None = None,
    ) -> None:
        board = Board()
        self._slots = slots
        self._loop = loop
        self._looking = Looking(looks or (lambda: look(board)), LOOK_S, self._hand_over)
        self._dip_at = -inf
        self._hot = False
        self.holds: frozenset[Hold] = frozenset()
        self.notes: tuple[str, ...] = ()
        self.faults: tuple[str, ...] = ()

    def start(self) -> None:
        """Begin to look."""
        if self._slots is not None and self._loop is not None:
            self._looking.start()

    def stop(self) -> None:
        """End."""
        self._looking.stop()

    def exchange(self, slots: BoardSlots | None) -> None:
        """Put values elsewhere from now on."""
        if self._slots is not None and slots is not None:
            self._slots = slots

    def _hand_over(self, seen: Seen) -> None:
        loop = self._loop
        if loop is None:
            return
        try:
            loop.call_soon_threadsafe(lambda: self.take(seen, loop.time()))
        except RuntimeError:  # the loop has ended
            return

    def take(self, seen: Seen, now: float) -> None:
        """Take what a look saw."""
        self.holds = seen.holds
        if self._slots is not None:
            if seen.undervoltage is not None:
                self._slots.undervoltage.put(seen.undervoltage, Quality.GOOD, now)
            if seen.temperature is not None:
                self._slots.temperature.put(seen.temperature, Quality.GOOD, now)
        if seen.undervoltage:
            self._dip_at = now
        if seen.temperature is not None:
            self._hot = seen.temperature >= (COOL_C if self._hot else HOT_C)
        self._tell(now)

    def _tell(self, now: float) -> None:
        told = [LOW] if now - self._dip_at <= DIP_SHOWN_S else []
        if self._hot:
            told.append(HOT)
        notes = tuple(note for note, _ in told)
        for note in notes:
            if note not in self.notes:
                _log.warning("board", text=note)
        self.notes, self.faults = notes, tuple(fault for _, fault in told)
