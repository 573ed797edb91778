"""Fields of lanes that move with a reference: the coarse search."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from ...contract.layout import Bits, ByteOrder
from ..heard import Floats
from .fitting import MOST_LAG_S
from .lanes import Lane
from .moments import Moments, Sequence, Trial, bound, moments, sequences, trials
from .reference import Reference

STEPS_S = (0.5, 0.25, 0.2, 0.1, 0.05)
"""Steps of the lag; the widest at which a shift by half of it still changes the reference little is taken."""

LITTLE = 0.005
"""How much of its variance a reference may lose by a shift of half a step."""

MOST_VALUES = 600
"""Values of a reference that the coarse search looks at, evenly taken out of all."""

PER_LANE = 6
"""Fields of one lane that are looked at closely: four wheels, and two more."""

PER_BIT = 0.01
"""A longer field must leave a smaller part of the reference unexplained, by this for each bit: what is appended below
the lowest bit that counts changes next to nothing, and must not be taken in for that."""

WORTH = 0.4
"""A field that leaves more than this part of the reference's variance is not looked at closely."""


@dataclass(frozen=True)
class Rough:
    """A field as the coarse search sees it.

    Attributes:
        lane, sequence: where it is.
        start, length: the lowest bit's place in the sequence, and how many bits.
        signed: two's complement.
        lag_s: how much later than the reference it comes.
        left: 1 - R2.
        used: values of the reference it was compared with.
    """

    lane: Lane
    sequence: Sequence
    start: int
    length: int
    signed: bool
    lag_s: float
    left: float
    used: int

    @property
    def gain(self) -> float:
        """How much less surprising the reference becomes, in nats; what is there for part of it gains less."""
        return -0.5 * self.used * float(np.log(max(self.left, 1e-9)))

    def numbers(self) -> frozenset[int]:
        """Its bit numbers."""
        return frozenset(self.sequence.numbers[self.start : self.start + self.length].tolist())

    def bits(self) -> Bits:
        """Its place."""
        return bits_of(self.sequence, self.start, self.length)

    def raw(self) -> Floats:
        """What it reads in each frame of its lane."""
        return self.lane.raw(self.bits(), signed=self.signed).astype(np.float64)

    def resized(self, start: int, length: int) -> Rough:
        """Return the field with another extent."""
        return replace(self, start=start, length=length)


def bits_of(sequence: Sequence, start: int, length: int) -> Bits:
    """Return the place of a run of a sequence."""
    lowest, highest = int(sequence.numbers[start]), int(sequence.numbers[start + length - 1])
    if sequence.little:
        return Bits(lowest // 8, length, lowest % 8, ByteOrder.LITTLE)
    return Bits(highest // 8, length, highest % 8, ByteOrder.BIG)


def lag_step(reference: Reference) -> float:
    """Return how finely lags have to be tried with a reference."""
    whole = 2.0 * float(np.var(reference.value))
    for step in STEPS_S:
        shifted = np.interp(reference.at + step / 2, reference.at, reference.value)
        if whole > 0 and float(np.mean((shifted - reference.value) ** 2)) <= LITTLE * whole:
            return step
    return STEPS_S[-1]


def lags_of(reference: Reference) -> Floats:
    """Return the lags that are tried, in seconds."""
    step = lag_step(reference)
    count = round(MOST_LAG_S / step)
    return np.asarray(step * np.arange(-count, count + 1, dtype=np.float64))


def thinned(reference: Reference, most: int) -> Reference:
    """Return at most `most` of a reference's values, evenly taken."""
    if len(reference) <= most:
        return reference
    return reference.only(np.unique(np.linspace(0, len(reference) - 1, most).astype(np.int64)))


def rough_fields(lanes: Iterable[Lane], reference: Reference) -> list[Rough]:
    """Return the fields that move with a reference, those of one lane not overlapping, best first."""
    lags, few = lags_of(reference), thinned(reference, MOST_VALUES)
    found: list[Rough] = []
    for lane in lanes:
        if len(lane.active):
            found += _of_lane(lane, moments(lane, few.at, few.value, lags, lane.active))
    return sorted(found, key=lambda field: -field.gain)


def _of_lane(lane: Lane, seen: Moments) -> list[Rough]:
    seen = seen.only(np.flatnonzero((seen.used > 0) & (bound(seen) <= WORTH)))
    if not len(seen.used):
        return []
    orders = sequences(lane.data.shape[1])
    pools = [_pool(number, trial, seen) for number, one in enumerate(orders) for trial in trials(seen, one, lane)]
    pool = np.concatenate([*pools, np.empty((0, 6))])
    kept: list[Rough] = []
    taken: set[int] = set()
    for order, start, length, signed, lag, left in pool[np.argsort(_costs(pool), kind="stable")].tolist():
        number = int(lag)
        field = Rough(
            lane, orders[int(order)], int(start), int(length), bool(signed), float(seen.lags[number]), left,
            int(seen.used[number]),
        )  # fmt: skip
        if not (numbers := field.numbers()) & taken:
            kept.append(field)
            taken |= numbers
            if len(kept) == PER_LANE:
                break
    return kept


def _costs(pool: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(pool[:, 5], 1e-9)) + PER_BIT * pool[:, 2])


def _pool(order: int, trial: Trial, seen: Moments) -> Floats:
    """Return a row (order, start, length, signed, number of the lag, 1 - R2) for each field worth a closer look."""
    # a lag at which less can be compared must fit better by as much
    best = (seen.used[:, None] * np.log(np.maximum(trial.left, 1e-9))).argmin(axis=0)
    left = np.take_along_axis(trial.left, best[None], axis=0)[0]
    rows = np.flatnonzero(left <= WORTH)
    same = np.ones(len(rows))
    return np.stack(
        [order * same, trial.starts[rows], trial.length * same, trial.signed * same, best[rows], left[rows]], axis=1
    )
