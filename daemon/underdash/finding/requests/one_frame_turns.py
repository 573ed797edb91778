"""Pairing by time alone, for answers that repeat nothing: after each request one frame of the other id, and soon.

Time is weak evidence, since frames of one control unit follow each other as well. So requests have to come unevenly,
each with an answer of its own, later than one frame follows another within a control unit, and not equally late.
"""

from __future__ import annotations

import numpy as np

from ..heard import Stream
from .one_frame_pairs import (
    LATEST_S,
    LEAST_ANSWERED,
    LEAST_ANSWERS,
    LEAST_SHARE,
    QUICK_S,
    Pairing,
    asks_again,
    refusing,
    uneven,
)

LEAST_ASKED = 3
"""Different requests (a choice); fewer show no identifier."""
SOON = 0.5
"""Nearly all answers come within so much of the time from request to request (a choice)."""


def may_ask(to: Stream) -> bool:
    """Say whether an id asks again for a few things, at times that are no beat."""
    return len(to) >= LEAST_ANSWERS and asks_again(to, LEAST_ASKED) and uneven(to)


def in_turn(to: Stream, by: Stream) -> Pairing | None:
    """Pair requests and answers that come by turns; None where they do not. `to` is one of those that `may_ask`."""
    if not LEAST_ANSWERED * len(to) <= len(by) <= len(to) / LEAST_SHARE:
        return None
    latest = np.searchsorted(to.at, by.at, side="right") - 1
    late = by.at - to.at[np.maximum(latest, 0)]
    timely = np.flatnonzero((latest >= 0) & (late <= LATEST_S))
    asked, first = np.unique(latest[timely], return_index=True)
    said = timely[first]
    if len(said) < max(LEAST_ANSWERS, LEAST_SHARE * len(by), LEAST_ANSWERED * len(to)):
        return None
    latency = late[said]
    soon = float(np.quantile(latency, 0.95)) <= SOON * float(np.median(np.diff(to.at)))
    if not soon or float(np.std(latency)) < QUICK_S or float(latency.min()) < QUICK_S:
        return None
    good = ~refusing(by.data[said])
    rest = np.setdiff1d(np.arange(len(by)), said[good])
    return Pairing(to, by, asked[good], said[good], rest, by_time=True)
