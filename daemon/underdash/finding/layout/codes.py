"""How many bits it takes to tell what a run of bits did: the shorter, the better the run is understood as one field.

Two questions are paid for: when it changed, and to what. A switch or choice is told by naming values, those seen before
being cheap; a number by its steps, small ones being cheap, as signed or unsigned as it is. What is learnt from the data
itself (rates, sizes of steps) is paid for by learning it from frame to frame (Dirichlet and Pitman-Yor prequential
codes, as in the literature on minimum description length).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import inf, lgamma, log, log2

import numpy as np
from numpy.typing import NDArray

from ..heard import Flags, Floats, Integers, Numbers

LONGEST = 32
"""Bits of the longest run."""
MOST_CHOICES = 16
"""Different values from which on a field is no choice."""
SOME_CHANGES = 64
"""Changes within which most fields that are no choice show it."""
SELDOM = 0.1
"""Weight of a change against one frame without, before anything is seen: most bits change in few frames."""
NEW_VALUE = 0.5
"""Weight of a value of a choice that was not seen yet, against one frame with a known one."""
WRAPPING = 6.0
"""Bits it costs to take a number for one that starts again at 0 by itself (about 1 in 64 is meant so); it fills half
bytes or bytes."""
CLEARLY = 20.0
"""Bits by which noise must be told more shortly to be named so: a dozen changes tell nothing of that."""
SIGNED = 18
"""Digits by which all steps together must be shorter as signed: few numbers are, and a jump through half the range
tells nothing."""
FAR = 3
"""Digits of a step above which a number that becomes all 0 or all 1 is taken for out of use rather than for moving."""
OUT_OF_USE = 2.0
"""Bits it costs at most to name one of these two values for the first time."""
OUT = 2 * LONGEST
"""The class of a step that is told by where it ends."""
BY_DIGITS = 0, *range(LONGEST), *[0] * LONGEST
BY_TWO_DIGITS = 0, 0, *(number // 2 for number in range(OUT - 2)), 0
"""Steps are told by classes: how many digits they have, or the first two of them as well. For each class the digits
that are left; the first is always 1."""
FINER = 8.0
"""Bits it costs to tell the first two digits (about 1 in 256 is meant so): it pays with many small steps, such as -2 to
2. From 8 to 16 all recordings are cut alike."""
ENDS, NEVER = 2, 99
"""Digits that tell near which of its ends or its middle a number comes into use; and of one that does not."""
CONSTANT = 0.5
"""What a bit inside a choice that never changes adds to the bits of a new value, beside 1 for one that does: outside a
field it is not for nothing either. From 0.3 to 0.6 the recordings the method was chosen on are cut alike."""


@dataclass(frozen=True, slots=True)
class Coded:
    """Runs as they are told most shortly, each shape (runs,).

    Attributes:
        bits: it takes.
        kind: ``choice``, ``number`` or ``noise``, as which it is told most shortly.
        signed: whether it is a signed number.
    """

    bits: Floats
    kind: NDArray[np.str_]
    signed: Flags


def mixed(costs: Sequence[Floats | float]) -> Floats:
    """Return the bits it takes if either of several ways may be the right one, equally likely before."""
    told: Floats = log2(len(costs)) - np.logaddexp2.reduce(-np.array(costs), axis=0)
    return told


def when(changed: Flags, together: Flags) -> Floats:
    """Return the bits it takes to tell in which frames something changed.

    Args:
        changed: whether it changed with each frame, shape (runs, frames).
        together: whether something that changes seldom changed with it in the bits below, shape (frames,); that this
            happens in the same frame is told cheaply, since one event of the car often moves several fields of a frame.
    """
    total, there = len(together), int(together.sum())
    count, both = changed.sum(axis=1), changed[:, together].sum(axis=1)
    alone = _rate(count, total, SELDOM, 1.0)
    return mixed((alone, _rate(both, there, 0.5, 0.5) + _rate(count - both, total - there, SELDOM, 1.0)))


def what(before: Numbers, after: Numbers, run: Integers, *, length: Integers, active: Integers, noise: Floats) -> Coded:
    """Return the bits it takes to tell the values that runs took where they changed.

    Args:
        before, after: what was there before and after each change, of which the run is the lowest bits; one run after
            the other, shape (changes,).
        run: which run it is of, never decreasing, shape (changes,).
        length: bits of each run, shape (runs,).
        active: how many of them ever change, two at least.
        noise: bits it costs to take it for something that takes any value alike.
    """
    count = np.bincount(run, minlength=len(length))
    some = np.flatnonzero(count)
    bits, signed = np.zeros(len(length)), np.zeros(len(length), dtype=bool)
    kind = np.full(len(length), "choice")
    if len(some):
        fixed, length, count = (length - active)[some], length[some], count[some]
        run = np.repeat(np.arange(len(some)), count)
        ones = np.repeat((1 << length) - 1, count)
        taken = _Taken(run, before.view(np.int64) & ones, after.view(np.int64) & ones, count, length)
        as_choice = _choice(taken, active[some] + CONSTANT * fixed)
        as_number, passes_zero = _number(taken)
        as_noise = count * np.log2(2.0**length - 1.0) + noise[some]
        bits[some] = mixed((as_choice, np.minimum(as_number, as_noise)))
        named = np.where(as_choice < as_number, "choice", "number")
        kind[some] = np.where(as_noise < np.minimum(as_choice, as_number) - CLEARLY, "noise", named)
        signed[some] = passes_zero & (kind[some] == "number")
    return Coded(bits, kind, signed)


@dataclass(frozen=True, slots=True)
class _Taken:
    """What runs took where they changed, one run after the other.

    Attributes:
        run: which run, shape (changes,).
        before, after: its value before and after, unsigned.
        count: changes of each run, one at least, shape (runs,).
        length: bits of each run.
    """

    run: Integers
    before: Integers
    after: Integers
    count: Integers
    length: Integers

    @property
    def first(self) -> Integers:
        """Place of the first change of each run."""
        return np.cumsum(self.count) - self.count


def _rate(count: Integers, total: int, yes: float, no: float) -> Floats:
    """Code yes and no with a rate that is learnt on the way (Beta prior)."""
    seen = _log_gamma(yes, total)[count] + _log_gamma(no, total)[total - count] - lgamma(yes + no + total)
    told: Floats = -(seen - lgamma(yes) - lgamma(no) + lgamma(yes + no)) / log(2.0)
    return told


def _choice(taken: _Taken, bits: Floats) -> Floats:
    """Name each value; one not seen yet costs `bits`, so that those which never changed are paid for as well."""
    runs, began = np.arange(len(taken.count)), taken.before[taken.first]
    # most numbers have too many values among their first changes already
    early = np.arange(len(taken.run)) - np.repeat(taken.first, taken.count) < SOME_CHANGES
    few = np.bincount(_values(taken.run[early], taken.after[early])[0]) <= MOST_CHOICES
    kept = np.repeat(few, taken.count)
    run, value, counts = _values(np.append(taken.run[kept], runs), np.append(taken.after[kept], began))
    values = np.bincount(run)
    ends = (value == 0) | (value == ((1 << taken.length) - 1)[run])
    new = np.where(ends, np.minimum(bits, OUT_OF_USE)[run], bits[run])
    told = np.bincount(run, new * (value != began[run]))
    most = int(taken.count.max()) + 1
    seen = lgamma(NEW_VALUE) - _log_gamma(NEW_VALUE, most)[taken.count + 1] + values * log(NEW_VALUE)
    seen += np.bincount(run, _log_gamma(1.0, most)[counts - 1])
    # of two values the next is the other one
    named = np.where(values == 2, 0.5 * np.log2(taken.count + 1), -seen / log(2.0))
    return np.where(few & (values <= MOST_CHOICES), told + named, inf)


def _values(run: Integers, value: Integers) -> tuple[Integers, Integers, Integers]:
    """Return run, value and count of each different value of the runs, ascending."""
    key = np.sort(run << LONGEST | value)
    place = np.flatnonzero(np.append(True, key[1:] != key[:-1]))
    return key[place] >> LONGEST, key[place] & (1 << LONGEST) - 1, np.diff(np.append(place, len(key)))


def _number(taken: _Taken) -> tuple[Floats, Flags]:
    """Tell the steps of numbers: unsigned, signed, or starting again at 0; return bits, and which are signed."""
    runs, count, length = len(taken.count), taken.count, taken.length
    half = np.repeat(1 << length - 1, count)
    step = taken.after - taken.before
    signed = step - ((taken.after & half) - (taken.before & half) << 1)
    wraps = (length % 4 == 0) & (np.maximum.reduceat(np.abs(step) - half, taken.first) >= 0)
    some = np.flatnonzero(np.repeat(wraps, count))
    around = (step[some] + half[some] & 2 * half[some] - 1) - half[some]
    every = np.concatenate((step, signed, around))
    digits = np.frexp(every.astype(np.float64))[1]
    ends = _ends(taken, half)
    ends = np.concatenate((ends, ends, ends[some]))
    at_end = digits > np.maximum(FAR, ends)
    second = np.abs(every) >> np.maximum(digits - 2, 0) & 1
    two = np.where(digits > 1, 2 * digits - 2 + second, digits)
    ways = np.concatenate((count, count, count * wraps))
    named = np.where(at_end, ends, 0)
    up, lengths = every > 0, np.tile(length, 3)
    bits = mixed(
        (
            _steps(np.where(at_end, OUT, digits), up, ways, lengths, BY_DIGITS),
            _steps(np.where(at_end, OUT, two), up, ways, 2 * lengths, BY_TWO_DIGITS) + FINER,
        )
    )
    bits += np.bincount(np.repeat(np.arange(3 * runs), ways), named, 3 * runs)
    plain, passing, turning = bits.reshape(3, runs)
    sizes = np.add.reduceat(digits[: 2 * len(step)], np.concatenate((taken.first, taken.first + len(step))))
    return mixed((plain, passing, np.where(wraps, turning, plain) + WRAPPING)), sizes[runs:] < sizes[:runs] - SIGNED


def _ends(taken: _Taken, half: Integers) -> Integers:
    """Digits that tell a number which goes out of use (1: which of the two), or comes into use near its ends or middle.

    A sender fills in all 0 or all 1 before it knows better; a car that stands still is near 0, wherever that lies.
    """
    full = 2 * half - 1
    out, comes = (((value == 0) | (value == full)) for value in (taken.after, taken.before))
    near = np.minimum(np.minimum(taken.after, full - taken.after), np.abs(taken.after - half))
    digits = np.maximum(np.frexp(near.astype(np.float64))[1], 1) + ENDS
    return np.where(out, 1, np.where(comes, digits, NEVER))


def _steps(label: Integers, up: Flags, count: Integers, kinds: Integers, left: Sequence[int]) -> Floats:
    """Tell each step by direction and class, then the digits that are left; the direction may depend on the last one.

    Args:
        label: class, one run after the other, shape (steps,).
        up: direction.
        count: steps of each run, shape (runs,).
        kinds: how many classes the steps of each run may have.
        left: digits that a class leaves.
    """
    last = np.zeros_like(up)
    last[1:] = up[:-1]
    last[(np.cumsum(count) - count)[count > 0]] = False
    classes = 2 * (OUT + 1)
    key = 2 * label + up + classes * last + np.repeat(2 * classes * np.arange(len(count)), count)
    two = np.bincount(key, minlength=2 * classes * len(count)).reshape(-1, 2, classes)
    whole = two.sum(axis=1)
    either = mixed((_learnt(whole, kinds), _learnt(two[:, 0], kinds) + _learnt(two[:, 1], kinds)))
    told: Floats = either + whole @ np.repeat(left, 2)
    return told


def _learnt(counts: Integers, kinds: Integers) -> Floats:
    """Code classes whose shares are learnt on the way (Dirichlet prior of total weight 1).

    Args:
        counts: how often each class came, shape (runs, classes).
        kinds: how many classes there are for each run, upwards and downwards.
    """
    total = counts.sum(axis=1)
    most = int(total.max())
    seen = _learnt_class(_size(most))[kinds[:, None], counts].sum(axis=1)
    told: Floats = (_log_gamma(1.0, most)[total] - seen) / log(2.0)
    return told


def _log_gamma(beyond: float, most: int) -> Floats:
    """A table of ln gamma(beyond + count) for counts up to `most` at least."""
    return _table(beyond, _size(most))


def _size(most: int) -> int:
    """A power of two, so that few tables are made."""
    return 1 << most.bit_length()


@cache
def _table(beyond: float, size: int) -> Floats:
    return np.array([lgamma(beyond + count) for count in range(size)])


@cache
def _learnt_class(size: int) -> Floats:
    """What a class adds, by how many there are and by how often it came."""
    shares = [0.5 / kinds for kinds in range(1, OUT + 1)]
    return np.stack([np.zeros(size)] + [_table(share, size) - lgamma(share) for share in shares])
