"""Signals as CSV (RFC 4180), long (one row a sample) or wide (one row an instant, one column a signal).

Seconds are those of the trace or of the monotonic clock. A value that is gone is an empty cell, never the last number.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from math import floor
from typing import TextIO

from ..contract.signals import Kind, Signal, Value
from ..contract.units import convert
from ..signals.store import Slot, Store

PAUSE_S = 3600.0
"""A gap in time longer than this gets no rows: the clock jumped, or the car stood."""


def cell(value: Value | None) -> str:
    """Write a value for a cell: switches as 0 and 1, numbers with up to nine digits, None as nothing."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(int(value))
    return f"{value:.9g}" if isinstance(value, float) else value


class LongTable:
    """One row a sample: seconds, signal, value, unit, quality, source.

    Args:
        out: text file opened with ``newline=""``.
        store: whose units the owner chose; samples of the sources that are there now are written.
        all_sources: write the samples of all sources, not only of the one that counts at that moment.
    """

    def __init__(self, out: TextIO, store: Store, *, all_sources: bool = False) -> None:
        self._rows = csv.writer(out)
        self._store = store
        self._all_sources = all_sources
        self._begun = False
        self.written = 0
        for name in store.names():
            store.watch(name, self.add)

    def begin(self, now: float = 0.0) -> None:
        """Write the head, once; not before something was understood, so that a refused trace leaves nothing."""
        if not self._begun:
            self._begun = True
            self._rows.writerow(("seconds", "signal", "value", "unit", "quality", "source"))

    def add(self, slot: Slot) -> None:
        """Write the sample a slot just took."""
        if not (self._all_sources or self._store.counts(slot, slot.at)):
            return
        self.begin()
        unit = self._store.unit(slot.signal)
        value = in_unit(slot.value, slot.signal, unit)
        self._rows.writerow((f"{slot.at:.6f}", slot.signal.name, cell(value), unit, str(slot.quality), slot.source))
        self.written += 1


class WideTable:
    """One row every 1/`hz` seconds with the readings of that instant.

    Args:
        out: text file opened with ``newline=""``.
        store: where the readings are.
        names: signals, one a column.
        hz: rows a second; more than 0.
    """

    def __init__(self, out: TextIO, store: Store, names: Sequence[str], hz: float) -> None:
        self._rows = csv.writer(out)
        self._store = store
        self._names = tuple(names)
        self._hz = hz
        self._next: int | None = None
        self._begun = False
        self.written = 0
        units = [store.unit(slots[0].signal) if (slots := store.slots(name)) else "" for name in self._names]
        self._heads = [f"{name} [{unit}]" if unit else name for name, unit in zip(self._names, units, strict=True)]

    def begin(self) -> None:
        """Write the head, once; not before something was understood, so that a refused trace leaves nothing."""
        if not self._begun:
            self._begun = True
            self._rows.writerow(("seconds", *self._heads))

    def advance(self, now: float) -> None:
        """Write the rows that are due up to `now`; call it before the samples of `now` are stored."""
        self.begin()
        if self._next is None or now - self._next / self._hz > PAUSE_S:
            self._next = floor(now * self._hz) + 1
        while self._next / self._hz <= now:
            self.row(self._next / self._hz)
            self._next += 1

    def row(self, at: float) -> None:
        """Write one row as of `at`."""
        self.begin()
        readings = [self._store.read(name, at) for name in self._names]
        cells = [cell(r.shown if r.shown is not None else r.value) for r in readings]
        self._rows.writerow((f"{at:.6f}", *cells))
        self.written += 1


def in_unit(value: Value | None, signal: Signal, unit: str) -> Value | None:
    """Return a number in another unit; anything else as it is."""
    if signal.kind is Kind.NUMBER and isinstance(value, float):
        return convert(value, signal.unit, unit)
    return value
