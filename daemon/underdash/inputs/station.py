"""All inputs of a running daemon: lines on its loop, channels in a thread, and what is the matter with each."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from pathlib import Path

import structlog

from ..contract.errors import UnderdashError
from ..contract.signals import Quality
from ..contract.sources import Input, InputKind
from ..service.lines import InputLine, input_line
from .channels import SYS, Channel, NoValueError
from .compiling import LOOK_S, Wire
from .conversion import electrical
from .reader import Reader

_log = structlog.get_logger()

RETRY_S = 5.0
HANGS_S = 5.0
OLDEST_EDGE_S = 5.0


class Ails(StrEnum):
    """What can be the matter with an input."""

    NOTHING = ""
    ABSENT = "absent"
    NO_VALUE = "no value"
    BEYOND = "beyond its points"
    HANGS = "hangs"


@dataclass(frozen=True, slots=True)
class Trouble:
    """What is the matter with an input, in a sentence; "" if nothing is."""

    ails: Ails = Ails.NOTHING
    text: str = ""


FINE = Trouble()


@dataclass(frozen=True, slots=True)
class InputStatus:
    """How an input is: `seconds_old` is the age of its last value, None if there never was one."""

    name: str
    signal: str
    kind: str
    trouble: Trouble
    seconds_old: float | None

    @property
    def sentence(self) -> str:
        """How it is, for a person."""
        if self.trouble.text:
            return f"input {self.name}: {self.trouble.text}"
        if self.seconds_old is None:
            return f"input {self.name}: not read yet"
        return f"input {self.name}: {self.signal}, read {self.seconds_old:.1f} s ago"


def _open(item: Input) -> InputLine:
    return input_line(item.place, pull=item.pull, inverted=item.inverted, debounce_s=item.debounce_s)


class Inputs:
    """Keeps inputs going between `start` and `stop`.

    Args:
        wires: from `compile_inputs`.
        loop: the event loop; values are put on it.
        lost: called with a wire whose line went away, so that a press that was going on is cancelled.
        open_line: takes a line.
        root: where sysfs is mounted.
    """

    def __init__(
        self,
        wires: Iterable[Wire],
        loop: asyncio.AbstractEventLoop,
        *,
        lost: Callable[[Wire], None] = lambda wire: None,
        open_line: Callable[[Input], InputLine] = _open,
        root: Path = SYS,
    ) -> None:
        self._wires = {wire.name: wire for wire in wires}
        self._loop = loop
        self._lost = lost
        self._open_line = open_line
        self._root = root
        self._lines: dict[str, InputLine] = {}
        self._retry_at: dict[str, float] = {}
        self._troubles: dict[str, Trouble] = {}
        self._timer: asyncio.TimerHandle | None = None
        self.reader = Reader(loop.time, self._read)
        for wire in self._wires.values():
            self._read_in_thread(wire)

    # --- life ---------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Take the lines and begin to read."""
        if self._wires:
            self._look()
            self.reader.start()

    def stop(self) -> None:
        """End; harmless if called twice."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self.reader.stop()
        for name in tuple(self._lines):
            self._close(name)

    def exchange(self, wires: Iterable[Wire]) -> None:
        """Go on with these wires; lines and channels that are the same stay open: one may take a second to end."""
        before, self._wires = self._wires, {wire.name: wire for wire in wires}
        same = {name for name, wire in self._wires.items() if name in before and before[name].item == wire.item}
        for name in before.keys() - same:
            self._close(name)
            self.reader.drop(name)
            self._retry_at.pop(name, None)
            self._troubles.pop(name, None)
        for name in self._wires.keys() - same:
            self._read_in_thread(self._wires[name])
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self.start()

    def _read_in_thread(self, wire: Wire) -> None:
        if wire.convert is not None:
            self.reader.add(wire.name, Channel(wire.item, self._root), wire.item.period_s)

    def status(self, now: float) -> tuple[InputStatus, ...]:
        """Return how each input is."""
        return tuple(self._status(wire, now) for wire in self._wires.values())

    def trouble(self, source: str) -> Trouble:
        """Return what is the matter with an input, by its name as a source."""
        found = (self._troubles.get(wire.name, FINE) for wire in self._wires.values() if wire.slot.source == source)
        return next(found, FINE)

    def _status(self, wire: Wire, now: float) -> InputStatus:
        old = now - wire.slot.at if wire.slot.count else None
        return InputStatus(wire.name, wire.item.signal, wire.item.kind.value, self._troubles.get(wire.name, FINE), old)

    # --- lines --------------------------------------------------------------------------------------------------

    def _look(self) -> None:
        """Read every level again, take what is not taken yet, and notice a channel that does not come back."""
        now = self._loop.time()
        for wire in self._wires.values():
            if wire.item.kind is InputKind.GPIO:
                self._look_at(wire, now)
        busy = self.reader.busy
        if busy is not None and now - busy[1] > HANGS_S:
            self._tell(busy[0], Trouble(Ails.HANGS, f"its device does not answer; {_others(self._wires)}"))
        self._timer = self._loop.call_at(now + LOOK_S, self._look)

    def _look_at(self, wire: Wire, now: float) -> None:
        line = self._lines.get(wire.name)
        if line is None and now >= self._retry_at.get(wire.name, now):
            line = self._take(wire, now)
        if line is not None:
            self._changed(wire.name, line)

    def _take(self, wire: Wire, now: float) -> InputLine | None:
        try:
            line = self._open_line(wire.item)
        except UnderdashError as exc:
            self._retry_at[wire.name] = now + RETRY_S
            self._tell(wire.name, Trouble(Ails.ABSENT, str(exc)))
            return None
        self._lines[wire.name] = line
        self._loop.add_reader(line.fileno(), partial(self._changed, wire.name, line))
        return line

    def _changed(self, name: str, line: InputLine) -> None:
        """Take the changes that wait, each with its own time, and then the level, which is what counts in the end."""
        wire, now = self._wires[name], self._loop.time()
        try:
            changes, level = line.changes(), line.on()
        except OSError as exc:
            self._close(wire.name)
            self._retry_at[wire.name] = now + RETRY_S
            wire.slot.clear()
            self._tell(wire.name, Trouble(Ails.ABSENT, f"line {wire.item.place} has gone: {exc.strerror or exc}"))
            self._lost(wire)
            return
        for on, at in changes:
            # a loop with a time of its own does not share the kernel's clock
            self._put_level(wire, on, at if now - OLDEST_EDGE_S <= at <= now else now)
        self._put_level(wire, level, now)
        self._tell(wire.name, FINE)

    def _put_level(self, wire: Wire, on: bool, at: float) -> None:
        value = wire.levels[on]
        if value is None:
            wire.slot.clear()
        else:
            wire.slot.put(value, Quality.GOOD, max(at, wire.slot.at))

    def _close(self, name: str) -> None:
        line = self._lines.pop(name, None)
        if line is not None:
            self._loop.remove_reader(line.fileno())
            line.close()

    # --- channels -----------------------------------------------------------------------------------------------

    def _read(self, name: str, found: float | UnderdashError, at: float) -> None:
        """Hand over to the loop; called in the reader's thread."""
        try:
            self._loop.call_soon_threadsafe(self.take, name, found, at)
        except RuntimeError:  # the loop has ended
            return

    def take(self, name: str, found: float | UnderdashError, at: float) -> None:
        """Take what a channel gave: a number, or why there is none."""
        wire = self._wires.get(name)
        if wire is None or wire.convert is None:
            return
        if isinstance(found, UnderdashError):
            ails = Ails.NO_VALUE if isinstance(found, NoValueError) else Ails.ABSENT
            self._tell(name, Trouble(ails, str(found)))
            return
        value = wire.convert(found)
        if value is None:
            wire.slot.clear()
            self._tell(name, Trouble(Ails.BEYOND, beyond(wire.item, found)))
            return
        dropped = wire.slot.implausible
        wire.slot.put(value, Quality.GOOD, at)
        signal = wire.slot.signal
        if wire.slot.implausible > dropped:
            plausible = f"{signal.low:g} to {signal.high:g} {signal.unit}"
            self._tell(name, Trouble(Ails.BEYOND, f"it gives {value:g}, plausible is {plausible}; correct its scale"))
        else:
            self._tell(name, FINE)

    # --- telling ------------------------------------------------------------------------------------------------

    def _tell(self, name: str, trouble: Trouble) -> None:
        """Say once what is the matter, and once that it is over; the numbers in a sentence may change meanwhile."""
        before = self._troubles.get(name, FINE)
        self._troubles[name] = trouble
        if trouble.ails is before.ails:
            return
        if trouble.ails is Ails.NOTHING:
            _log.info("input_is_back", input=name)
        else:
            _log.warning("input_trouble", input=name, text=trouble.text)


def beyond(item: Input, measured: float) -> str:
    """Say that a sender is outside its points."""
    unit, electric = electrical(item)
    first, last = item.points[0][0], item.points[-1][0]
    return (
        f"it measures {electric(measured):.4g} {unit}, outside its points ({first:g} to {last:g} {unit}): "
        "is the sender's wire broken or shorted?"
    )


def _others(wires: dict[str, Wire]) -> str:
    waiting = sum(wire.convert is not None for wire in wires.values()) - 1
    return f"{waiting} other input(s) wait for it" if waiting else "is it connected?"
