"""A known quantity over time that fields are held against: a satellite's speed, an OBD value, numbers typed by hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..heard import Floats, Heard, Integers

FEWEST = 5
"""Values a reference needs: they have to tell scale, offset and lag, and something has to be left to judge by."""

SPARSE = 50
"""Below so many values a single odd one may be what the quantity did; above, a lonely one is taken for a mistake."""

LONELY = 0.5
"""A lonely value is one that leaves its neighbours by this part of the whole range (chosen for sensors that read their
lowest value for a moment while they start)."""

RARE = 0.1
"""A value that means "not there" makes up at most this part of a reference."""


@dataclass(frozen=True)
class Reference:
    """A known quantity.

    Attributes:
        name: what it is called.
        at: seconds on the trace's clock, ascending, shape (values,).
        value: shape (values,).
        unit: of the values, "" where unknown.
        sources: (bus, id, extended) of frames it was itself read from, which are not searched.
    """

    name: str
    at: Floats
    value: Floats
    unit: str = ""
    sources: tuple[tuple[str, int, bool], ...] = ()

    def __len__(self) -> int:
        return len(self.at)

    @property
    def step_s(self) -> float:
        """Median time between values."""
        return float(np.median(np.diff(self.at))) if len(self) > 1 else 0.0

    def only(self, rows: Integers) -> Reference:
        """Return these rows of it."""
        return Reference(self.name, self.at[rows], self.value[rows], self.unit, self.sources)


def refusal(reference: Reference, heard: Heard) -> str | None:
    """Return why nothing can be found with a reference, as a sentence with the next step; None where it will do."""
    if not len(reference):
        return f"{reference.name} has no values"
    first, last = float(reference.at[0]), float(reference.at[-1])
    if last < heard.begin or first > heard.end:
        return (
            f"the reference's time, {first:.1f} to {last:.1f} s, does not overlap the trace's, {heard.begin:.1f} to "
            f"{heard.end:.1f} s; both must count the same seconds: add a constant to the reference's first column"
        )
    inside = within(reference, heard)
    if len(inside) < FEWEST:
        return (
            f"only {len(inside)} of {reference.name}'s values lie within the trace, {heard.begin:.1f} to "
            f"{heard.end:.1f} s; at least {FEWEST} are needed, and 30 are better"
        )
    if len(np.unique(inside.value)) < 3:
        return (
            f"{reference.name} hardly changes ({_range(inside)}), so every field that stands still would fit; record "
            "again while it changes: drive, so that it goes up and down several times"
        )
    return None


def within(reference: Reference, heard: Heard) -> Reference:
    """Return what lies within the trace, in order, without what is no number; of values at one time the last."""
    keep = np.isfinite(reference.at) & np.isfinite(reference.value)
    keep &= (reference.at >= heard.begin) & (reference.at <= heard.end)
    kept = reference.only(np.flatnonzero(keep))
    order = np.argsort(kept.at, kind="stable")
    kept = kept.only(order)
    last = np.append(np.diff(kept.at) > 0, True)[: len(kept)]
    return kept.only(np.flatnonzero(last))


def trusted(reference: Reference) -> Reference:
    """Leave out single values far from their neighbours, and one value far from all others that comes back again.

    The latter is what a quantity reads while it is not there: 0 V of a sensor that is off.
    """
    if len(reference) < SPARSE:
        return reference
    value = reference.value
    around = np.lib.stride_tricks.sliding_window_view(np.pad(value, 2, mode="edge"), 5)
    low, high = np.percentile(value, [2, 98])
    good = np.abs(value - np.median(around, axis=1)) <= LONELY * max(high - low, 1e-12)
    there = np.sort(value[good])
    for end, step in ((float(there[0]), 1), (float(there[-1]), -1)):
        same = int(np.count_nonzero(there == end))
        if same <= RARE * len(there):
            nearest = float(there[::step][same])
            good &= (value != end) | (abs(nearest - end) <= LONELY * float(there[-1] - there[0]))
    return reference.only(np.flatnonzero(good))


def turns(value: Floats, part: float = 0.1) -> int:
    """Count how often a quantity turns round, ignoring what is smaller than a part of its range."""
    if not len(value):
        return 0
    least = part * float(np.ptp(value))
    count, rising = 0, 0
    low = high = float(value[0])
    for now in value.tolist():
        low, high = min(low, now), max(high, now)
        if rising <= 0 and now > low + least:
            count, rising, high = count + (rising != 0), 1, now
        elif rising >= 0 and now < high - least:
            count, rising, low = count + (rising != 0), -1, now
        if rising > 0:
            low = now if now < low else low
            high = max(high, now)
    return count


def _range(reference: Reference) -> str:
    low, high = float(reference.value.min()), float(reference.value.max())
    unit = f" {reference.unit}" if reference.unit else ""
    return f"{low:g}{unit} throughout" if low == high else f"{low:g} and {high:g}{unit} only"
