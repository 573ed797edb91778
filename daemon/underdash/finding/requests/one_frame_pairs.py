"""Who asks whom in a format that no standard knows: pairs of ids on which one frame answers another.

What makes a request: few different frames that come again and again, each followed by one frame of the other id, which
repeats some of what was asked. Counters that two frames of one control unit share repeat each other as well; they are
told by going on in equal steps, which nobody who asks for values does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...diagnostics.isotp import FRAME_BYTES
from ...diagnostics.negative import NEGATIVE
from ..heard import Bytes, Flags, Floats, Integers, Stream

LATEST_S = 1.0
"""How late an answer may come (a choice; makers' testers ask ten times a second)."""
LEAST_ANSWERS = 10
"""Fewer show no format, and the guard wants as many of one request anyway."""
LEAST_SHARE = 0.9
"""Of what the one id says so much follows a request, and so much of it repeats the request's bytes (a choice)."""
LEAST_SINGLY = 0.75
"""And of the requests answered hardly any has two answers; a long value may take several frames (a choice)."""
MOST_REQUESTS_SHARE = 0.5
"""Of a tester's frames at most so many are different: it asks again for what it asked before (a choice)."""
MOST_LOOKED_AT = 1500
"""Answers by which a pair of ids is judged; all of them are read once it is believed (for speed)."""
LEAST_ANSWERED = 0.75
"""A request that is answered at all is answered so often at least: two frames that only look alike have periods of
their own (a choice; traces lose frames, units refuse now and then)."""
UNEVEN, UNEVEN_SHARE, QUICK_S = 0.05, 0.1, 0.0005
"""A beat is steady if nearly all gaps vary by less than this share, and one id right behind the other if that varies by
less (a choice: control units do not answer that evenly, two frames of one task come so)."""
DEPENDS = 0.2
"""Share of how a byte varies that what was asked has to explain (a choice)."""
STEADY = 0.95
FEW_LOOKED_AT, FEW_DIFFERENT = 300, 4
"""Answers by which it is judged whether several requests are open at once, and different values of a byte that answers
repeat then: one of the latest few is repeated by chance where there are hardly more (a choice)."""
MOST_BEFORE = 4
"""Bytes in front of a command at most: count, address and perhaps something fixed (a choice)."""
LOOK_BACK = 4
"""Requests that may be open at once on one pair of ids: several units share it (a choice)."""

Echoes = NDArray[np.bool_]


@dataclass(frozen=True)
class Pairing:
    """Requests and the answers to them, row by row.

    Attributes:
        to, by: the two ids.
        asked, said: rows of both, as long as each other.
        rest: rows of `by` that repeat nothing that was asked: refusals, and what nobody asked for.
        by_time: they were paired by time alone.
    """

    to: Stream
    by: Stream
    asked: Integers
    said: Integers
    rest: Integers
    by_time: bool = False

    @property
    def requests(self) -> Bytes:
        """Payloads asked, shape (pairs, width)."""
        return self.to.data[self.asked]

    @property
    def replies(self) -> Bytes:
        """Payloads that came, shape (pairs, width)."""
        return self.by.data[self.said]

    @property
    def latency_s(self) -> Floats:
        """From each request to its answer."""
        return self.by.at[self.said] - self.to.at[self.asked]


def repeating(to: Stream, by: Stream, moving: Sequence[int] | None = None) -> Pairing | None:
    """Pair requests with the answers that repeat some of their bytes; None where there are too few of them."""
    if min(len(to), len(by)) < LEAST_ANSWERS or len(by) > 1.5 * len(to):
        return None
    return _pairing(to, by) or _overlapping(to, by, moving_requests(to) if moving is None else moving)


def constant(column: Bytes) -> bool:
    """Say whether a byte never moves."""
    return bool((column == column[0]).all())


def asks_again(stream: Stream, least: int = 2) -> bool:
    """Say whether an id sends a few different frames only, and at least so many."""
    different = len(np.unique(as_numbers(stream.data)))
    return least <= different <= MOST_REQUESTS_SHARE * len(stream)


def as_numbers(data: Bytes) -> NDArray[np.uint64]:
    """Return each payload of up to eight bytes as one number, by which equal ones are found quickly."""
    wide = np.zeros((len(data), FRAME_BYTES), dtype=np.uint8)
    wide[:, : data.shape[1]] = data[:, :FRAME_BYTES]
    return wide.view(np.uint64).ravel()


def _pairing(to: Stream, by: Stream) -> Pairing | None:
    said = np.arange(min(len(by), MOST_LOOKED_AT))
    asked = np.searchsorted(to.at, by.at[said], side="right") - 1
    timely = (asked >= 0) & (by.at[said] - to.at[np.maximum(asked, 0)] <= LATEST_S)
    if timely.sum() < LEAST_ANSWERS or timely.mean() < LEAST_SHARE - 0.1:
        return None
    asked, said = asked[timely], said[timely]
    if 1 + np.count_nonzero(np.diff(asked)) < LEAST_SINGLY * len(said):
        return None
    for kept in _without_refusals(by.data[said]):
        requests, replies = to.data[asked[kept]], by.data[said[kept]]
        telling = echoes(requests, replies) & _varies(requests)[:, None]
        if any(telling[column].any() and not counts(to.data[:, column]) for column in range(to.width)):
            return _by_what_they_repeat(to, by, telling)
    return None


def moving_requests(to: Stream) -> list[int]:
    """Return bytes of requests that take many values and do not count."""
    head = to.data[: LOOK_BACK * FEW_LOOKED_AT]
    many = [i for i in range(to.width) if np.count_nonzero(np.bincount(head[:, i])) >= FEW_DIFFERENT]
    return [i for i in many if not counts(head[:, i])]


def _overlapping(to: Stream, by: Stream, moving: Sequence[int]) -> Pairing | None:
    """Pair where the next request goes out before the answer to the last one: each repeats one of the latest few."""
    if not moving or len(by) > len(to):
        return None
    said = np.arange(min(len(by), FEW_LOOKED_AT))
    latest = np.searchsorted(to.at, by.at[said], side="right") - 1
    recent = np.maximum(latest[:, None] - np.arange(LOOK_BACK)[None, :], 0)
    telling = np.zeros((to.width, by.width), dtype=bool)
    for i in moving:
        same = (to.data[recent, i][:, :, None] == by.data[said][:, None, :]).any(axis=1)
        telling[i] = same.mean(axis=0) >= LEAST_SHARE
    found = _by_what_they_repeat(to, by, telling) if telling.any() else None
    singly = found is not None and len(np.unique(found.asked)) >= LEAST_SHARE * len(found.said)
    return found if singly else None


def _without_refusals(replies: Bytes) -> Iterator[Flags]:
    """Yield which rows to look at: all of them, and those without 7F in a byte where some have it."""
    yield np.ones(len(replies), dtype=bool)
    for column in range(min(MOST_BEFORE, replies.shape[1])):
        refused = replies[:, column] == NEGATIVE
        if refused.mean() > 1 - LEAST_SHARE and len(replies) - refused.sum() >= LEAST_ANSWERS:
            yield ~refused


def echoes(requests: Bytes, replies: Bytes) -> Echoes:
    """Say which byte of a request stands in which byte of its reply, shape (request's width, reply's width)."""
    same = requests[:, :, None] == replies[:, None, :]
    found: Echoes = same.mean(axis=0) >= LEAST_SHARE
    return found


def _varies(data: Bytes) -> Flags:
    """Say which bytes are not nearly always the same."""
    return np.array([np.bincount(data[:, column]).max() < STEADY * len(data) for column in range(data.shape[1])])


def counts(column: Bytes) -> bool:
    """Say whether a byte only counts: its moving bits go on by the same step from frame to frame."""
    moving = int(np.bitwise_or.reduce(column ^ column[0]))
    if not moving:
        return False
    low = (moving & -moving).bit_length() - 1
    turn = 1 << (moving.bit_length() - low)
    places: Integers = (column >> low).astype(np.int64)
    steps: Integers = (places[1:] - places[:-1]) & (turn - 1)
    often = np.bincount(steps, minlength=turn)
    return bool(often[0] < (1 - STEADY) * len(steps) and often.max() >= STEADY * len(steps))


def _answers_again(to: Stream, asked: Integers) -> bool:
    """Say whether requests that are answered at all are answered nearly every time."""
    _, which = np.unique(as_numbers(to.data), return_inverse=True)
    answered = np.zeros(len(to), dtype=bool)
    answered[asked] = True
    often, times = np.bincount(which, weights=answered), np.bincount(which)
    mine = often > 0
    return bool(often[mine].sum() >= LEAST_ANSWERED * times[mine].sum())


def refusing(replies: Bytes) -> Flags:
    """Say which frames have 7F where nearly all others have one and the same byte, as that of a command."""
    refused = np.zeros(len(replies), dtype=bool)
    for column in range(min(MOST_BEFORE, replies.shape[1])):
        often = np.bincount(replies[:, column], minlength=256)
        usual = int(often.argmax())
        if usual != NEGATIVE and often[usual] + often[NEGATIVE] >= STEADY * len(replies):
            these = replies[:, column] == NEGATIVE
            refused |= these & (not _go_on_alike(replies[:, column + 1 :], these))
    return refused


def _go_on_alike(rest: Bytes, these: Flags) -> bool:
    """Say whether what follows 7F is what follows otherwise, as where 7F is a unit's address."""
    if not rest.size or not these.any() or these.all():
        return False
    usual = np.bincount(rest[~these, 0]).argmax()
    return bool(np.mean(rest[these, 0] == usual) >= STEADY)


def by_themselves(pairing: Pairing, data_at: int, groups: Sequence[Flags]) -> bool:
    """Say whether both ids rather go on by themselves, and the one repeats the other because both tell the same.

    Nobody who answers counts his answers, whatever was asked. And of two ids with a steady beat, one right behind the
    other, the answers have to depend on what was asked: other values for other requests.
    """
    if any(
        counts(pairing.by.data[:, column]) or _counts_low(pairing.by, column) for column in _moving(pairing, data_at)
    ):
        return True
    if not steady(pairing):
        return False
    return all(_explained(pairing.replies[:, column], groups) < DEPENDS for column in _moving(pairing, data_at))


def steady(pairing: Pairing) -> bool:
    """Say whether requests have a beat, with an answer right behind each."""
    return not uneven(pairing.to) and float(np.std(pairing.latency_s)) < QUICK_S


def uneven(to: Stream) -> bool:
    """Say whether an id is sent at times that are no beat; pauses alone do not make it so."""
    gaps = np.diff(to.at)
    usual = float(np.median(gaps))
    return bool(np.mean(np.abs(gaps - usual) > UNEVEN * usual) > UNEVEN_SHARE)


def _moving(pairing: Pairing, data_at: int) -> list[int]:
    return [column for column in range(data_at, pairing.by.width) if len(np.unique(pairing.replies[:, column])) > 1]


def _counts_low(by: Stream, column: int) -> bool:
    return any(counts(np.bitwise_and(by.data[:, column], np.uint8(half))) for half in (0x0F, 0xF0))


def _explained(column: Bytes, groups: Sequence[Flags]) -> float:
    """Return which share of how a byte varies is explained by what was asked."""
    values = column.astype(np.float64)
    whole = float(values.var())
    within = sum(float(values[group].var()) * group.mean() for group in groups)
    return 1.0 - within / whole if whole > 0.0 else 0.0


def _by_what_they_repeat(to: Stream, by: Stream, telling: Echoes) -> Pairing | None:
    """Pair anew, now by what answers repeat: where several units share the ids, the latest request may be another's."""
    columns = [(int(i), int(j)) for i, j in zip(*np.nonzero(telling), strict=True)]
    latest = np.searchsorted(to.at, by.at, side="right") - 1
    asked = np.full(len(by), -1)
    for back in range(LOOK_BACK):
        row = latest - back
        open_ = (asked < 0) & (row >= 0) & (by.at - to.at[np.maximum(row, 0)] <= LATEST_S)
        same = np.ones(len(by), dtype=bool)
        for i, j in columns:
            same &= to.data[np.maximum(row, 0), i] == by.data[:, j]
        asked[open_ & same] = row[open_ & same]
    good = (asked >= 0) & ~refusing(by.data)
    if good.sum() < LEAST_ANSWERS or not _answers_again(to, asked[good]):
        return None
    return Pairing(to, by, asked[good], np.flatnonzero(good), np.flatnonzero(~good))
