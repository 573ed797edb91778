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
from math import exp, inf, lgamma, log, log2, pi

import numpy as np
from numpy.typing import NDArray

from ..heard import Flags, Floats, Integers

MOST_CHOICES = 16
"""Different values from which on a field is no choice."""
SELDOM = 0.1
"""Weight of a change against one frame without, before anything is seen: most bits change in few frames."""
NEW_VALUE = 0.5
"""Weight of a value of a choice that was not seen yet, against one frame with a known one."""
WRAPPING = 6.0
"""Bits it costs to take a number for one that starts again at 0 by itself (about 1 in 64 is meant so); it fills half
bytes or bytes."""
SIGNED = 18
"""Digits by which all steps together must be shorter as signed: few numbers are, and a jump through half the range
tells nothing."""
FAR = 3
"""Digits of a step above which a number that becomes all 0 or all 1 is taken for out of use rather than for moving."""
OUT_OF_USE = 2.0
"""Bits it costs at most to name one of these two values for the first time."""
CONSTANT = 0.5
"""What a bit inside a choice that never changes adds to the bits of a new value, beside 1 for one that does: outside a
field it is not for nothing either. From 0.3 to 0.6 the recordings the method was chosen on are cut alike."""
TABLED = 16
"""Bits up to which the digits of steps are looked up, which is quicker."""


@dataclass(frozen=True, slots=True)
class Coded:
    """A run as it is told most shortly: bits it takes, ``flag``, ``choice`` or ``number``, and whether it is signed."""

    bits: float
    kind: str
    signed: bool = False


def mixed(costs: Sequence[float]) -> float:
    """Return the bits it takes if either of several ways may be the right one, equally likely before."""
    least = min(costs)
    return least - log2(sum(exp((least - cost) * log(2.0)) for cost in costs) / len(costs)) if least < inf else inf


def when(changed: Flags, together: Flags) -> float:
    """Return the bits it takes to tell in which frames something changed.

    Args:
        changed: whether it changed with each frame.
        together: whether something that changes seldom changed with it in the bits below; that this happens in the same
            frame is told cheaply, since one event of the car often moves several fields of a frame.
    """
    total, there = len(changed), int(together.sum())
    count, both = int(changed.sum()), int((changed & together).sum())
    alone = _rate(count, total, SELDOM, 1.0)
    return mixed((alone, _rate(both, there, 0.5, 0.5) + _rate(count - both, total - there, SELDOM, 1.0)))


def what(before: Integers, after: Integers, length: int, active: int) -> Coded:
    """Return the bits it takes to tell the values a run took where it changed.

    Args:
        before, after: its value before and after each change, unsigned.
        length: bits of the run.
        active: how many of them ever change.
    """
    if active == 1 or not len(before):
        return Coded(0.0, "flag" if active == 1 else "choice")
    choice = _choice(before, after, length, active + CONSTANT * (length - active))
    half = 1 << (length - 1)
    step = after - before
    ways = [step, _signed(after, half) - _signed(before, half)]
    if length % 4 == 0 and int(np.abs(step).max(initial=0)) >= half:
        ways.append(_signed(step & 2 * half - 1, half))
    unused = (after == 0) | (after == 2 * half - 1)
    told, digits = _steps(np.stack(ways), unused, length)
    plain, signed, *wrapping = told.tolist()
    number = mixed((plain, signed, (wrapping or [plain])[0] + WRAPPING))
    kind = "choice" if choice < number else "number"
    return Coded(mixed((choice, number)), kind, kind == "number" and digits[1] < digits[0] - SIGNED)


def _rate(count: int, total: int, yes: float, no: float) -> float:
    """Code yes and no with a rate that is learnt on the way (Beta prior)."""
    if not total:
        return 0.0
    seen = lgamma(yes + count) + lgamma(no + total - count) - lgamma(yes + no + total)
    return -(seen - lgamma(yes) - lgamma(no) + lgamma(yes + no)) / log(2.0)


def _choice(before: Integers, after: Integers, length: int, bits: float) -> float:
    """Name each value; one not seen yet costs `bits`, so that those which never changed are paid for as well."""
    some = np.unique(after[:256])
    if len(some) > MOST_CHOICES:
        return inf
    values, counts = np.unique(np.append(after, before[:1]), return_counts=True)
    if len(values) > MOST_CHOICES:
        return inf
    changes = len(after)
    new = np.where((values == 0) | (values == (1 << length) - 1), min(bits, OUT_OF_USE), bits)
    told = float(new[values != before[0]].sum())
    if len(values) == 2:
        # the next value is the other one
        return told + 0.5 * log2(changes + 1)
    seen = lgamma(NEW_VALUE) - lgamma(NEW_VALUE + changes + 1) + len(values) * log(NEW_VALUE)
    seen += sum(lgamma(count) for count in counts.tolist())
    return -seen / log(2.0) + told


def _steps(step: Integers, unused: Flags, length: int) -> tuple[Floats, Integers]:
    """Tell each step by direction and number of digits, then its digits; the direction may depend on the last one.

    Args:
        step: several ways to understand the steps, shape (ways, steps).
        unused: whether it became all 0 or all 1; where that is far off, it is told as such.
        length: bits of the run.

    Returns:
        Bits and digits for each way.
    """
    ways = len(step)
    size = np.abs(step)
    digits = _digits()[size] if length <= TABLED else np.frexp(size.astype(np.float64))[1]
    special = unused & (digits > FAR)
    label = np.where(special, length + 1, digits)
    up = step > 0
    last = np.zeros_like(up)
    last[:, 1:] = up[:, :-1]
    classes = 2 * (length + 2)
    key = 2 * label + up + classes * last + 2 * classes * np.arange(ways)[:, None]
    two = np.bincount(key.ravel(), minlength=2 * classes * ways).reshape(ways, 2, classes)
    learnt = _learnt(np.concatenate((two, two.sum(axis=1, keepdims=True)), axis=1), length)
    alone, split = learnt[:, 2], learnt[:, 0] + learnt[:, 1]
    either = np.minimum(alone, split) - np.log2((1.0 + np.exp2(-np.abs(alone - split))) / 2.0)
    told: Floats = either + np.where(special, 1, digits - 1).sum(axis=1)
    return told, digits.sum(axis=1)


@cache
def _digits() -> Integers:
    """How many binary digits a number has, for numbers of up to `TABLED` digits."""
    return np.frexp(np.arange(1 << TABLED, dtype=np.float64))[1].astype(np.int64)


def _learnt(counts: Integers, length: int) -> Floats:
    """Code classes (last axis) whose shares are learnt on the way (Dirichlet prior of total weight 1)."""
    share = 1.0 / (2 * length)
    seen = counts > 0
    each = np.zeros(counts.shape)
    weights: Floats = share + counts[seen].astype(np.float64)
    each[seen] = _log_gamma(weights) - lgamma(share)
    told: Floats = (_log_gamma(1.0 + counts.sum(axis=-1)) - each.sum(axis=-1)) / log(2.0)
    return told


def _log_gamma(x: Floats) -> Floats:
    """Stirling's series; from 1 on it is right to 0.001."""
    return (x - 0.5) * np.log(x) - x + 0.5 * log(2.0 * pi) + 1.0 / (12.0 * x) - 1.0 / (360.0 * x**3)


def _signed(value: NDArray[np.int64], half: int) -> NDArray[np.int64]:
    return value - ((value & half) << 1)
