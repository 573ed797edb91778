"""Signals computed from others: in which order, when, and what happens to one that fails.

A derived signal is computed after its inputs. It is due once its period is over, and then computed if an input
changed; without a change it is computed now and then all the same, so that a step that waits for time to pass gets
on. How old its value is follows from its inputs: while one of them is late, so is the result.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from math import isfinite

import structlog

from ..contract.errors import raised
from ..contract.signals import Age, Kind, Quality, Reading, Signal, Value
from ..contract.sources import Derived, Result
from .searching import hint
from .store import Rank, Slot, Store

IDLE_S = 0.25
"""Longest time between two steps of a derived signal whose inputs do not change, unless its period is longer."""
TICK_S = 0.002
"""This much early counts as in time, or a caller that ticks with the period would skip every other step."""
FAILURES_ALLOWED = 3
LATE_PERIODS = 5.0
"""A source this many periods old is late and not gone, by the store's limits of three and ten."""

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class DerivedProblem:
    """A derived signal that is not computed: whose it is, which one, and why."""

    owner: str
    signal: str
    reason: str


def ordered(derived: Iterable[tuple[str, Derived]]) -> tuple[list[tuple[str, Derived]], list[DerivedProblem]]:
    """Bring derived signals into an order in which inputs come first.

    Args:
        derived: (plug-in's name, derived signal).

    Returns:
        What can be computed, in order, and a problem for each member of a circle.
    """
    left = dict(enumerate(derived))
    problems: list[DerivedProblem] = []
    while True:
        by_signal: dict[str, list[int]] = {}
        for index, (_, item) in left.items():
            by_signal.setdefault(item.signal, []).append(index)
        graph = {i: [j for name in item.inputs for j in by_signal.get(name, ())] for i, (_, item) in left.items()}
        try:
            return [left[index] for index in TopologicalSorter(graph).static_order()], problems
        except CycleError as exc:
            circle = exc.args[1]
            path = " <- ".join(left[index][1].signal for index in circle)
            for index in dict.fromkeys(circle):
                owner, item = left.pop(index)
                reason = f"it goes round in a circle: {path}; take one of these out of another's inputs"
                problems.append(DerivedProblem(owner, item.signal, reason))


class _Running:
    """One derived signal with its state."""

    __slots__ = ("due_at", "failures", "item", "last_at", "owner", "rests_on", "seen", "slot", "state")

    def __init__(self, owner: str, item: Derived, slot: Slot) -> None:
        self.owner = owner
        self.item = item
        self.slot = slot
        self.state = item.state
        self.last_at: float | None = None
        self.due_at = 0.0
        self.seen: tuple[tuple[Value | None, Age, Quality], ...] | None = None
        self.failures = 0
        self.rests_on = item.inputs

    def follows(self, before: _Running) -> bool:
        """Say whether it can go on where another one is."""
        item, old = self.item, before.item
        alike = item.inputs == old.inputs and type(item.state) is type(old.state)
        return alike and self.slot.signal == before.slot.signal

    def take_over(self, before: _Running) -> None:
        """Go on where another one is."""
        self.state, self.failures, self.rests_on = before.state, before.failures, before.rests_on
        self.last_at, self.due_at, self.seen = before.last_at, before.due_at, before.seen
        self.slot.take_over(before.slot)
        self.slot.period_s = before.slot.period_s


class DerivedRunner:
    """Computes all derived signals and puts them into the store.

    Args:
        derived: (plug-in's name, derived signal).
        store: where inputs are read and results put.
        suspend: called with (plug-in's name, reason) when one of its steps has raised three times.

    Attributes:
        problems: derived signals that are not computed at all, and why.
    """

    def __init__(
        self, derived: Iterable[tuple[str, Derived]], store: Store, suspend: Callable[[str, str], None]
    ) -> None:
        self._store = store
        self._suspend = suspend
        self._running: list[_Running] = []
        usable, self.problems = ordered(derived)
        for owner, item in usable:
            try:
                slot = store.slot(item.signal, f"derived by {owner}", Rank.DERIVED, period_s=_idle_s(item))
            except KeyError:
                reason = f"nobody declared a signal of this name; {hint(item.signal, store.declared)}"
                self.problems.append(DerivedProblem(owner, item.signal, reason))
                continue
            self._running.append(_Running(owner, item, slot))

    def derived(self) -> list[Derived]:
        """Return what is being computed, inputs first."""
        return [running.item for running in self._running]

    def rests_on(self, slot: Slot) -> tuple[str, ...]:
        """Return the inputs that the last result in a slot was computed from; none if it is not a derived one's."""
        return next((running.rests_on for running in self._running if running.slot is slot), ())

    def step(self, now: float) -> None:
        """Compute what is due; `now` is monotonic seconds."""
        for running in tuple(self._running):
            last = running.last_at
            if last is not None and now < running.due_at - TICK_S:
                continue
            readings = {name: self._store.read(name, now) for name in running.item.inputs}
            seen = tuple((reading.value, reading.age, reading.quality) for reading in readings.values())
            if last is not None and seen == running.seen and now - last < _idle_s(running.item):
                continue
            running.seen = seen
            running.last_at = now
            running.due_at = now + running.item.period_s
            self._compute(running, readings, 0.0 if last is None else now - last, now)

    def _compute(self, running: _Running, readings: Mapping[str, Reading], dt_s: float, now: float) -> None:
        item = running.item
        try:
            running.state, result = item.step(running.state, readings, dt_s)
            value = None if result is None else _checked(result, running.slot.signal)
        except (Exception, SystemExit) as exc:
            self._failed(running, exc)
            return
        if result is None or value is None:
            running.slot.clear()
            return
        running.rests_on = result.rests_on or item.inputs
        used = [readings[name] for name in running.rests_on if name in readings]
        late = [r.seconds_old for r in used if r.age is Age.LATE and r.seconds_old is not None]
        oldest_s = max(late, default=0.0)
        running.slot.period_s = oldest_s / LATE_PERIODS if late else _idle_s(item)
        running.slot.put(value, result.quality, now - oldest_s)

    def _failed(self, running: _Running, exc: BaseException) -> None:
        running.slot.clear()
        running.failures += 1
        reason = f"computing {running.item.signal} raised {raised(exc)}"
        log.warning("derived signal failed", plugin=running.owner, signal=running.item.signal, error=reason)
        if running.failures >= FAILURES_ALLOWED:
            self.drop(running.owner)
            self._suspend(running.owner, f"{reason} ({running.failures} times)")

    def take_over(self, before: DerivedRunner, same: Callable[[str], bool]) -> Iterator[Slot]:
        """Go on with what steps remember and gave, where the same plug-in computes it from the same.

        Args:
            before: whose work it was.
            same: says of a signal whether it comes from where it came from before; it is asked of inputs first.

        Yields:
            The slots that go on.
        """
        known = {(one.owner, one.item.signal): one for one in before._running}
        for running in self._running:
            old = known.get((running.owner, running.item.signal))
            if old is None or not running.follows(old) or not all(map(same, running.item.inputs)):
                continue
            running.take_over(old)
            yield running.slot

    def drop(self, owner: str) -> None:
        """Take all derived signals of a plug-in away."""
        self._store.drop(running.slot for running in self._running if running.owner == owner)
        self._running = [running for running in self._running if running.owner != owner]

    def close(self) -> None:
        """Take all derived signals out of the store, before another runner takes over."""
        self._store.drop(running.slot for running in self._running)
        self._running = []


def _idle_s(item: Derived) -> float:
    return max(IDLE_S, item.period_s)


def _checked(result: object, signal: Signal) -> Value | None:
    """Return a result's value in the type its signal has, None for a number that is none (NaN)."""
    if not isinstance(result, Result):
        raise TypeError(f"it gave {result!r}, a step returns (state, Result or None)")
    value = result.value
    if signal.kind is Kind.NUMBER and isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value) if isfinite(value) else None
    expected = {Kind.NUMBER: float, Kind.SWITCH: bool, Kind.CHOICE: str, Kind.TEXT: str}[signal.kind]
    if not isinstance(value, expected):
        raise TypeError(f"it gave {value!r}, a {signal.kind} signal takes {expected.__name__}")
    if signal.kind is Kind.CHOICE and value not in signal.choices:
        raise ValueError(f"it gave {value!r}, allowed are {', '.join(signal.choices)}")
    return value
