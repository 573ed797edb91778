"""How well the changes of a field explain a person's marks: the likelihood of the marks, given the changes.

Each change that answers is marked, late by a time of known density, except for those that the person missed; each mark
belongs to one change, except for those that belong to none. Both shares are unknown and averaged over. Changes far from
any mark so count against a field, and so do marks that it does not answer. The other side of the ratio is marks that
have nothing to do with the field: they lie anywhere in the trace.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import lgamma, log

import numpy as np

from ..heard import Floats, Integers
from ..marks import LATEST_S
from ..small import TOGETHER_S, Small

EARLY_S, USUAL_S, TAIL_S = 0.05, 0.5, LATEST_S + 0.1
"""People are late by anything up to `USUAL_S` alike, seldom by up to `TAIL_S`; clocks may differ by `EARLY_S`."""
LEAST_WIDTH_S = 0.01
MISSED = (1.0, 9.0)
"""Beta distribution of the share of changes that are not marked, and of marks without a change: one in ten or so."""
LEAST_DENSITY = 0.02
"""Below this density, a second, a change and a mark do not belong together."""
MOST_VALUES = 8

_LATE = np.linspace(-2 * EARLY_S, TAIL_S + EARLY_S, 201)
_RISE, _FALL = 1 + _LATE / EARLY_S, (TAIL_S - _LATE) / (TAIL_S - USUAL_S)
_HEIGHT = np.clip(np.minimum(_RISE, _FALL), 0.0, 1.0)
_STEPS = (_HEIGHT[1:] + _HEIGHT[:-1]) / 2 * np.diff(_LATE)
_BELOW = np.concatenate([[0.0], np.cumsum(_STEPS)]) / _STEPS.sum()


def density(late: Floats, width: Floats) -> Floats:
    """Return how likely a mark is that comes `late` seconds after the frame that showed the change, in 1/s.

    A frame may have been sent on time, so that the change happened at any time since the one before, or at once
    because of the change; each is as likely as the other.

    Args:
        late: seconds, negative if the mark was before.
        width: how long before the frame the one before it came.
    """
    return (_over(late, np.maximum(width, LEAST_WIDTH_S)) + _over(late, np.full_like(width, LEAST_WIDTH_S))) / 2


def _over(late: Floats, width: Floats) -> Floats:
    """Return the mean density over changes that happened at any time within `width` before the frame."""
    found: Floats = (np.interp(late + width, _LATE, _BELOW) - np.interp(late, _LATE, _BELOW)) / width
    return found


@dataclass(frozen=True)
class Way:
    """One way in which a field may answer: some of its changes are the answers, the others mean something else.

    Attributes:
        share: how likely this way is beforehand.
        changes: which changes, shape (answers,).
    """

    share: float
    changes: Integers


@dataclass(frozen=True)
class Fit:
    """How a way explains the marks.

    Attributes:
        log_ratio: natural logarithm of the likelihood ratio against marks that lie anywhere.
        answers: for each mark the change that it belongs to, -1 for none, shape (marks,).
        unmarked: changes of the way without a mark.
    """

    log_ratio: float
    answers: Integers
    unmarked: int


def usual(field: Small, changes: Integers) -> int:
    """Return the number that a field had most often after some of its changes."""
    values, counts = np.unique(field.raw[changes + 1], return_counts=True)
    return int(values[counts.argmax()])


def ways(field: Small, *, both: bool = False) -> Iterator[Way]:
    """Yield the ways in which a field may answer; those that come to the same changes are one.

    Args:
        field: the field.
        both: beginning and end are marked, so that only all changes can be the answers.
    """
    every = np.arange(len(field.at))
    if both:
        yield Way(1.0, every)
        return
    before, after = field.raw[:-1], field.raw[1:]
    others = np.unique(after[after != field.rest])[:MOST_VALUES]
    found = [
        (0.4, every),  # each deed turns it over
        (0.25, every[before == field.rest]),  # a deed moves it away from rest, and it goes back by itself
        (0.15, every[after == field.rest]),
        *((0.15 / len(others), every[after == value]) for value in others),  # one value of several
        (0.05, every[np.diff(field.at, prepend=-np.inf) > TOGETHER_S]),  # a deed sets off several changes
    ]
    shares: dict[bytes, float] = {}
    for share, changes in found:
        if len(changes):
            shares[changes.tobytes()] = shares.get(changes.tobytes(), 0.0) + share
    yield from (Way(share, np.frombuffer(key, dtype=every.dtype)) for key, share in shares.items())


def fit(densities: Floats, way: Way, span_s: float) -> Fit:
    """Say how a way explains the marks.

    Each mark, in order, takes the change that it most likely belongs to and that no mark before it took.

    Args:
        densities: `density` of each mark and change, shape (marks, changes).
        way: which of the changes.
        span_s: length of the trace.
    """
    free = densities[:, way.changes]
    answers = np.full(len(free), -1)
    ratio = 0.0
    for mark in range(len(free)):
        best = int(free[mark].argmax())
        height = float(free[mark, best])
        if height >= LEAST_DENSITY:
            answers[mark] = way.changes[best]
            ratio += log(height * span_s)
            free[:, best] = 0.0
    answered = int((answers >= 0).sum())
    unmarked = len(way.changes) - answered
    ratio -= lgamma(answered + 1)  # marks that lie anywhere come in any order, those of changes in theirs
    return Fit(ratio + _missed(unmarked, answered) + _missed(len(answers) - answered, answered), answers, unmarked)


@lru_cache(maxsize=4096)
def _missed(missed: int, kept: int) -> float:
    """Return the logarithm of the chance of that many missed and kept, averaged over the unknown share."""
    a, b = MISSED
    return _log_beta(a + missed, b + kept) - _log_beta(a, b)


def _log_beta(a: float, b: float) -> float:
    return lgamma(a) + lgamma(b) - lgamma(a + b)
