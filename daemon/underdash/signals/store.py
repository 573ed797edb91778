"""The store: the latest sample of every source of every signal, and which source counts.

Sources write into slots they were given at start-up; a sink reads a `Reading`, which says how old the value is.
A signal may have several sources in order: it changes to the next when the first is late, and back after three
good samples.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import IntEnum
from math import inf
from sys import float_info

from ..contract.signals import NOBODY, Age, Kind, Quality, Reading, Signal, Snapshot, Value
from ..contract.units import UNITS, linear

LATE_AFTER_PERIODS = 3.0
GONE_AFTER_PERIODS = 10.0
LATE_AT_LEAST_S = 0.4
GONE_AT_LEAST_S = 1.5
BACK_AFTER_SAMPLES = 3
LARGEST = float_info.max
"""Without a plausible range of its own, a signal still has no infinite value."""
_UNDECIDED = -1


class Rank(IntEnum):
    """Kinds of sources in their usual order; a lower one is preferred."""

    BROADCAST = 0
    POLL = 1
    INPUT = 2
    DERIVED = 3
    GIVEN = -1
    """Typed by a person, who outranks everything."""


class Slot:
    """Where one source puts its samples of one signal. The hot path calls `put` and nothing else."""

    __slots__ = (
        "at", "count", "elastic", "high", "implausible", "low", "period_s", "place", "quality", "rank", "signal",
        "source", "value", "watch",
    )  # fmt: skip

    def __init__(self, signal: Signal, source: str, rank: int, period_s: float | None, elastic: bool) -> None:
        self.signal = signal
        self.source = source
        self.rank = rank
        self.place = rank
        self.period_s = period_s
        self.elastic = elastic
        self.low = -LARGEST if signal.low is None else signal.low
        self.high = LARGEST if signal.high is None else signal.high
        self.value: Value | None = None
        self.quality = Quality.GOOD
        self.at = -inf
        self.count = 0
        self.implausible = 0
        self.watch: Callable[[Slot], None] | None = None

    def put(self, value: Value, quality: Quality, at: float) -> None:
        """Take a sample; a number outside the signal's plausible range is counted and dropped."""
        if value.__class__ is float and not self.low <= value <= self.high:
            self.implausible += 1
            return
        if self.elastic and self.count:
            gap = at - self.at
            self.period_s = gap if self.period_s is None else self.period_s + (gap - self.period_s) * 0.2
        self.value = value
        self.quality = quality
        self.at = at
        self.count += 1
        if self.watch is not None:
            self.watch(self)

    def take_over(self, before: Slot) -> None:
        """Go on with what another slot of the same source has, and tell nobody."""
        self.value, self.quality, self.at, self.count = before.value, before.quality, before.at, before.count
        if self.elastic:
            self.period_s = before.period_s

    def clear(self) -> None:
        """Forget the sample, as if it had never come."""
        self.value = None
        self.at = -inf

    def age(self, now: float) -> Age:
        """Grade how old the sample is against the period it is expected in."""
        if self.value is None:
            return Age.GONE
        old = now - self.at
        if self.signal.gone_after_s is not None:
            return Age.FRESH if old <= self.signal.gone_after_s else Age.GONE
        period = self.period_s or 0.0
        if old <= max(LATE_AT_LEAST_S, LATE_AFTER_PERIODS * period):
            return Age.FRESH
        return Age.LATE if old <= max(GONE_AT_LEAST_S, GONE_AFTER_PERIODS * period) else Age.GONE


class _Entry:
    """The slots of one signal in order of preference, the one in use, and how the owner sees the signal."""

    __slots__ = ("current", "factor", "marks", "number", "offset", "shown_in", "signal", "slots")

    def __init__(self, signal: Signal, unit: str) -> None:
        self.signal = signal
        self.number = signal.kind is Kind.NUMBER
        self.factor, self.offset = linear(signal.unit, unit) if self.number else (1.0, 0.0)
        self.shown_in = UNITS[unit if self.number else signal.unit]
        self.slots: list[Slot] = []
        self.marks: list[int] = []
        self.current = _UNDECIDED

    def add(self, slot: Slot) -> None:
        self.slots.append(slot)
        self.slots.sort(key=lambda s: s.place)
        self.marks = [0] * len(self.slots)
        self.current = _UNDECIDED

    def choose(self, now: float) -> Slot:
        """Return the slot that counts now; see the module's first lines for the rule."""
        if len(self.slots) == 1:
            return self.slots[0]
        ages = [slot.age(now) for slot in self.slots]
        if self.current == _UNDECIDED or ages[self.current] is not Age.FRESH:
            self._leave(ages)
        for index in range(self.current):
            slot = self.slots[index]
            if ages[index] is not Age.FRESH:
                self.marks[index] = slot.count
            elif slot.count - self.marks[index] >= BACK_AFTER_SAMPLES:
                self.current = index
                break
        return self.slots[self.current]

    def _leave(self, ages: list[Age]) -> None:
        """Go to the first source that is fresh, or else late; with none of these stay."""
        before = self.current
        for wanted in (Age.FRESH, Age.LATE):
            if wanted in ages:
                self.current = ages.index(wanted)
                break
        else:
            self.current = max(before, 0)
        if before not in (_UNDECIDED, self.current):
            self.marks[before] = self.slots[before].count


class Store:
    """All signals of the running configuration.

    Args:
        signals: catalogue and the plug-ins' own, by name.
        units: the owner's unit by signal name or by stored unit.
        orders: kinds of sources by signal, the preferred one first, where the usual order does not do.
    """

    def __init__(
        self,
        signals: Mapping[str, Signal],
        units: Mapping[str, str] | None = None,
        orders: Mapping[str, Sequence[int]] | None = None,
    ) -> None:
        self._signals = signals
        self._orders = dict(orders or {})
        self._units = dict(units or {})
        self._entries: dict[str, _Entry] = {}
        self._watchers: dict[str, list[Callable[[Slot], None]]] = {}

    def empty(self) -> Store:
        """Return a store that knows the same signals and units and has no source yet."""
        return Store(self._signals, self._units, self._orders)

    @property
    def declared(self) -> Mapping[str, Signal]:
        """The signals that somebody declared, by name, whether or not they have a source."""
        return self._signals

    def slot(
        self, signal: str, source: str, rank: int, *, period_s: float | None = None, elastic: bool = False
    ) -> Slot:
        """Make a place for one more source of a signal.

        Args:
            signal: a name of the catalogue or of a plug-in.
            source: how the source is named to a person.
            rank: see `Rank`; of two sources with one rank the first made is preferred.
            period_s: expected period.
            elastic: the period follows what is achieved.

        Raises:
            KeyError: nobody declared this signal.
            ValueError: the unit the owner wants it in does not fit.
        """
        entry = self._entries.get(signal) or self._entry(self._signals[signal])
        slot = Slot(entry.signal, source, rank, period_s, elastic)
        order = self._orders.get(signal, ())
        if rank in order:
            slot.place = order.index(rank)
        elif rank >= 0:
            slot.place = len(order) + rank
        slot.watch = _chain(self._watchers.get(signal, ()))
        entry.add(slot)
        self._entries[signal] = entry
        return slot

    def watch(self, signal: str, called: Callable[[Slot], None]) -> None:
        """Have `called` called with the slot on every sample of a signal, also from sources that are yet to come."""
        self._watchers.setdefault(signal, []).append(called)
        self._hand_out_watchers(signal)

    def unwatch(self, signal: str, called: Callable[[Slot], None]) -> None:
        """Undo one `watch`; nothing happens if there was none."""
        if called in self._watchers.get(signal, ()):
            self._watchers[signal].remove(called)
            self._hand_out_watchers(signal)

    def _hand_out_watchers(self, signal: str) -> None:
        for slot in self.slots(signal):
            slot.watch = _chain(self._watchers[signal])

    def _entry(self, signal: Signal) -> _Entry:
        return _Entry(signal, self.unit(signal))

    def counts(self, slot: Slot, now: float) -> bool:
        """Return whether this is the source of its signal that counts now."""
        entry = self._entries.get(slot.signal.name)
        return entry is not None and entry.choose(now) is slot

    def slots(self, signal: str) -> tuple[Slot, ...]:
        """Return the sources of a signal, the preferred one first; none if nobody provides it."""
        entry = self._entries.get(signal)
        return tuple(entry.slots) if entry else ()

    def names(self) -> list[str]:
        """Return the names of all signals that have a source."""
        return sorted(self._entries)

    def drop(self, slots: Iterable[Slot]) -> None:
        """Take sources away again, when a description is reloaded or a plug-in suspended."""
        gone = set(map(id, slots))
        for name in list(self._entries):
            entry = self._entries[name]
            kept = [slot for slot in entry.slots if id(slot) not in gone]
            if len(kept) == len(entry.slots):
                continue
            fresh = self._entry(entry.signal)
            for slot in kept:
                fresh.add(slot)
            if kept:
                self._entries[name] = fresh
            else:
                del self._entries[name]

    def unit(self, signal: Signal) -> str:
        """Return the name of the unit the owner sees this signal in."""
        return self._units.get(signal.name) or self._units.get(signal.unit) or signal.unit

    def read(self, name: str, now: float) -> Reading:
        """Return a signal as a page sees it; one that nobody provides reads as gone."""
        entry = self._entries.get(name)
        if entry is None:
            return Reading(name, None, None, "", 0, Age.GONE, None, Quality.GOOD, NOBODY)
        slot = entry.choose(now)
        age = slot.age(now)
        unit = entry.shown_in
        value = None if age is Age.GONE else slot.value
        shown = None if value is None or not entry.number else float(value) * entry.factor + entry.offset
        old = None if slot.at == -inf else now - slot.at
        return Reading(
            name, value, shown, unit.label, unit.digits, age, old, slot.quality, slot.source, entry.signal.unit
        )

    def snapshot(self, now: float, names: Iterable[str] | None = None) -> Snapshot:
        """Return the readings of `names`, or of all signals; the caller adds what else a page may know."""
        wanted = self._entries if names is None else names
        return Snapshot(now, {name: self.read(name, now) for name in wanted}, units=self._units)


def _chain(watchers: Iterable[Callable[[Slot], None]]) -> Callable[[Slot], None] | None:
    called = tuple(watchers)
    if len(called) <= 1:
        return called[0] if called else None

    def call(slot: Slot) -> None:
        for watcher in called:
            watcher(slot)

    return call
