"""How every field of a frame correlates with a reference, all at once.

A field's number is a sum of its bits times powers of two, so its covariance with a reference, and its variance, follow
from those of the bits: once these are known, a field that is longer by one bit costs a few operations. That makes it
cheap to try every place, length, byte order and sign at every lag.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..heard import Bytes, Flags, Floats, Integers
from .lanes import Lane

LONGEST = 32
"""Bits of the longest field that is tried."""

HELD = 3.0
"""After so many periods without a frame a value is taken to stand still until the next, not to move towards it."""

RARELY = 0.5
"""A lowest bit changes at least so often, as part of how often the bit above it does."""

LEAST_PART = 0.3
"""A field has to be there for this part of the reference's values."""


@dataclass(frozen=True)
class Moments:
    """Means of products over the reference's values, by lag.

    Attributes:
        lags: seconds, shape (lags,).
        used: values that could be compared, shape (lags,).
        reference: variance of the reference, shape (lags,).
        cross: covariances of the bits with the reference, shape (lags, bits).
        bits: covariances of the bits with each other, shape (lags, bits, bits).
    """

    lags: Floats
    used: Integers
    reference: Floats
    cross: Floats
    bits: Floats

    def only(self, rows: Integers) -> Moments:
        """Return them for some of the lags."""
        return Moments(self.lags[rows], self.used[rows], self.reference[rows], self.cross[rows], self.bits[rows])


@dataclass(frozen=True)
class Sequence:
    """The bits of a payload in the order of their weight in one byte order.

    Attributes:
        little: byte order.
        numbers: bit numbers (``8 * byte + bit``), least significant first, shape (bits,).
    """

    little: bool
    numbers: Integers


def sequences(width: int) -> tuple[Sequence, Sequence]:
    """Return both orders of the bits of a payload of `width` bytes."""
    numbers = np.arange(8 * width).reshape(width, 8)
    return Sequence(True, numbers.ravel()), Sequence(False, numbers[::-1].ravel())


def rows_at(lane: Lane, when: Floats) -> tuple[Integers, Floats, Flags]:
    """Return the frame before each time, how far it lies on the way to the next, and whether the lane was there."""
    at = lane.at
    before = np.clip(np.searchsorted(at, when, side="right") - 1, 0, max(len(at) - 2, 0))
    after = np.minimum(before + 1, len(at) - 1)
    gap = at[after] - at[before]
    period = lane.period_s
    part = np.divide(when - at[before], gap, out=np.zeros(len(when)), where=gap > 0)
    beyond = max(period, 1e-3)
    there = (when >= at[0] - beyond) & (when <= at[-1] + beyond)
    there &= lane.says[before] & lane.says[after]
    part = np.clip(part, 0.0, 1.0)
    part[(gap > HELD * period) & (part < 1.0)] = 0.0
    return before.astype(np.int64), part, there


def number_at(lane: Lane, raw: Floats, when: Floats) -> tuple[Floats, Flags]:
    """Return a lane's numbers at these times, moved evenly from frame to frame, and whether the lane was there."""
    before, part, there = rows_at(lane, when)
    after = np.minimum(before + 1, len(raw) - 1)
    return raw[before] * (1.0 - part) + raw[after] * part, there


def moments(lane: Lane, at: Floats, value: Floats, lags: Floats, active: Integers) -> Moments:
    """Return the moments of a lane's active bits at each lag; `used` is 0 where too little can be compared."""
    count = len(active)
    used = np.zeros(len(lags), dtype=np.int64)
    reference, cross = np.zeros(len(lags)), np.zeros((len(lags), count))
    bits = np.zeros((len(lags), count, count))
    for number, lag in enumerate(lags.tolist()):
        before, part, there = rows_at(lane, at + lag)
        keep = np.flatnonzero(there)
        if len(keep) < max(3, LEAST_PART * len(at)):
            continue
        first = _bits(lane.data, before[keep], active)
        second = _bits(lane.data, np.minimum(before[keep] + 1, len(lane) - 1), active)
        share = part[keep, None]
        seen = first * (1.0 - share) + second * share
        seen -= seen.mean(axis=0)
        wanted = value[keep] - value[keep].mean()
        used[number] = len(keep)
        reference[number] = wanted @ wanted / len(keep)
        cross[number] = wanted @ seen / len(keep)
        bits[number] = seen.T @ seen / len(keep)
    return Moments(lags, used, reference, cross, bits)


def bound(found: Moments) -> Floats:
    """Return, for each lag, a 1 - R2 that no field can leave less than: what any weights of the bits would leave."""
    count = found.cross.shape[1]
    ridge = 1e-9 * np.eye(count)
    weights = np.linalg.solve(found.bits + ridge, found.cross[:, :, None])[:, :, 0]
    told = np.einsum("lb,lb->l", weights, found.cross)
    return np.asarray(1.0 - np.divide(told, found.reference, out=np.ones_like(told), where=found.reference > 0))


def _bits(data: Bytes, rows: Integers, active: Integers) -> Floats:
    return np.unpackbits(data[rows], axis=1, bitorder="little")[:, active].astype(np.float64)


@dataclass(frozen=True)
class Trial:
    """How fields of one length correlate, for each that could start there.

    Attributes:
        length: bits.
        signed: whether the top bit counts negative.
        starts: where in the sequence each begins, shape (fields,).
        left: 1 - R2 at each lag, shape (lags, fields); 1 where it cannot be said.
    """

    length: int
    signed: bool
    starts: Integers
    left: Floats


def trials(found: Moments, sequence: Sequence, lane: Lane) -> Iterator[Trial]:
    """Yield every field of a byte order whose lowest and highest bits change, by length and sign.

    A number's lowest bit changes most; one that changes far less often than the bit above it does not begin a number.
    """
    active = lane.active
    total = len(sequence.numbers)
    column = np.full(total, -1)
    place = np.empty(total, dtype=np.int64)
    place[sequence.numbers] = np.arange(total)
    column[place[active]] = np.arange(len(active))
    flips = lane.flips[sequence.numbers]
    starts = np.flatnonzero((column >= 0) & (flips >= RARELY * np.append(flips[1:], 0)))
    lags = len(found.used)
    cross, variance = np.zeros((lags, len(starts))), np.zeros((lags, len(starts)))
    shared = np.zeros((lags, len(starts), len(active)))
    for length in range(1, LONGEST + 1):
        top = starts + length - 1
        fits = np.flatnonzero((top < total) & (column[np.minimum(top, total - 1)] >= 0))
        if not len(fits):
            continue
        bit, weight = column[top[fits]], float(2 ** (length - 1))
        mixed, own = weight * shared[:, fits, bit], weight * weight * found.bits[:, bit, bit]
        more = weight * found.cross[:, bit]
        if length > 1:
            below, under = cross[:, fits] - more, variance[:, fits] - 2 * mixed + own
            yield Trial(length, True, starts[fits], _left(below, under, found.reference, own))
        cross[:, fits] += more
        variance[:, fits] += 2 * mixed + own
        shared[:, fits] += weight * found.bits[:, bit]
        yield Trial(length, False, starts[fits], _left(cross[:, fits], variance[:, fits], found.reference, own))


def _left(cross: Floats, variance: Floats, reference: Floats, own: Floats) -> Floats:
    """Return 1 - R2; a variance that is only what rounding left counts as none."""
    whole = variance * reference[:, None]
    sound = whole > 1e-12 * own * reference[:, None]
    r2 = np.divide(cross * cross, whole, out=np.zeros_like(whole), where=sound & (whole > 0))
    return np.asarray(1.0 - np.clip(r2, 0.0, 1.0))
