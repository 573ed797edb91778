"""Which small fields answer to marks: every one gets its share of belief, and so does that none of them does.

Beforehand each small field is as likely as another. The marks' likelihood (`answering`) turns that into what is to be
believed afterwards. Fields whose changes lie within a person's lateness of each other explain the marks alike and are
told as ties, unless one follows another at the same distance each time: that is a consequence.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..found import Answer, Candidate
from ..heard import Flags, Floats, Heard, Integers
from ..marks import Mark
from ..small import Small
from . import told as text
from .contents import fields_of, sums
from .moving import Moving
from .sharing import Found, alike, of_both, pooled, shared
from .weighing import ALIKE, Answering, Fields

NOTHING = 0.2
"""Belief beforehand that nothing on these buses answers: many a button is behind a gateway, or not on a bus at all."""
SAME_S = 0.03
"""What changes within this time of something else may be a copy of it, handed on by a gateway (common practice)."""
STEADY_S, FEWEST_LEADS = 0.05, 3
"""A consequence follows each time at the same distance, give or take this, as often as that at least."""
LEAST_SHARE, MOST_TOLD = 0.01, 100
"""Told is what has at least this share of the belief in the first rank, and so many at most."""
SPAN_S = 1.0
UNMARKED_A_MARK, UNMARKED = 20, 20
"""A field with more changes than this can no longer be believed in, whatever it answers."""


def pressed(
    heard: Heard, marks: Mapping[str, Sequence[Mark]], words: Collection[str] | None = None
) -> tuple[Answer, ...]:
    """Find what answers to the marks of each word.

    Args:
        heard: the trace.
        marks: by word; within the trace (`marks.marks_of`).
        words: which of them are answered; None means all. The others tell what shares a field with them.
    """
    wanted = marks if words is None else words
    most = UNMARKED + UNMARKED_A_MARK * max(map(len, marks.values()), default=0)
    moving = Moving()
    fields = Fields.of(one for stream in heard for one in fields_of(stream, heard.begin, most, moving.protection))
    found = {word: _found(heard, fields, moving, some) for word, some in marks.items()}
    weighed = shared(found, fields.beforehand)
    for word in wanted:
        if (other := pooled(word, weighed)) is not None:
            both = _found(heard, fields, moving, [*marks[word], *marks[other]])
            weighed[word] = of_both(weighed[word], both)
    return tuple(_answer(heard, word, some, weighed) for word, some in marks.items() if word in wanted)


def _times(marks: Sequence[Mark]) -> Floats:
    return np.array(sorted(time for mark in marks for time in {mark.begin, mark.last}))


def _found(heard: Heard, fields: Fields, moving: Moving, marks: Sequence[Mark]) -> Found:
    """Weigh what answers to one word."""
    both = any(mark.end is not None for mark in marks)
    span_s = max(heard.end - heard.begin, SPAN_S)
    found = _caused(_unprotected(fields.answering(_times(marks), span_s, both=both), moving))
    return Found(tuple(found), NOTHING / (1 - NOTHING) * fields.beforehand)


def _answer(heard: Heard, word: str, marks: Sequence[Mark], weighed: Mapping[str, Found]) -> Answer:
    times = _times(marks)
    found, nothing = weighed[word].by, weighed[word].nothing
    total = nothing + sum(one.weight for one in found)
    if not weighed[word].named:
        return Answer(word, remarks=text.nothing(word, len(times), heard))
    ranks = tuple(_ranks(found, total))
    told = tuple(tuple(_candidate(one, total, word, marks, times) for one in rank) for rank in ranks)
    also = alike(ranks[0][0], word, weighed)
    return Answer(word, told, text.remarks(word, marks, ranks[0], nothing / total, also))


def _unprotected(found: Iterable[Answering], moving: Moving) -> list[Answering]:
    """Leave out counters and checksums; those that nobody would believe in are not looked at any further."""
    ordered = sorted(found, key=lambda one: -one.weight)[: 3 * MOST_TOLD]
    summed = sums(one.field for one in ordered if one.by_marks > 1)
    return [one for one in ordered if not (_summed(one.field, summed) or moving.within(one.field))]


def _summed(small: Small, summed: Collection[str]) -> bool:
    return small.select is not None and str(small.stream) in summed


def _caused(found: Sequence[Answering]) -> list[Answering]:
    """Take weight from those that follow the earliest of the best at the same distance each time."""
    best = [one for one in found if one.weight * ALIKE >= found[0].weight]
    first = min(best, key=lambda one: (float(np.nanmean(one.at())), -one.weight), default=None)
    if first is None:
        return []
    return [one if one is first else _follower(one, first) for one in found]


def _follower(one: Answering, first: Answering) -> Answering:
    after, before = one.at() - first.at(), one.since() - first.at()
    both = ~np.isnan(after)
    if both.sum() < max(FEWEST_LEADS, (~np.isnan(one.at())).sum()) or not (before[both] >= 0).all():
        return one
    apart = float(np.ptp(after[both]))
    if apart > float(np.max((after - before)[both])) + STEADY_S:
        return one
    follows = text.follows(first.field, float(np.median(after[both])))
    return replace(one, weight=one.weight * 0.5 ** int(both.sum()), follows=follows)


def _ranks(found: Sequence[Answering], total: float) -> Iterator[tuple[Answering, ...]]:
    """Yield the best with all that are alike, then the best of the rest, and so on.

    Where the best stands alone, though it is rather not the answer than the answer, it shares its rank with those for
    which the marks speak as much: what sets it apart is only what fields are like in general.
    """
    left = sorted(found, key=lambda one: -one.weight)
    alike = sum(one.weight for one in left if one.weight * ALIKE >= left[0].weight)
    least = min(LEAST_SHARE * alike, left[0].weight / ALIKE)
    left = [one for one in left if one.weight >= least][:MOST_TOLD]
    rank = _first_rank(left, total)
    while rank:
        yield rank
        told = set(map(id, rank))
        left = [one for one in left if id(one) not in told]
        rank = _in_order([one for one in left if one.weight * ALIKE >= left[0].weight])


def _first_rank(left: Sequence[Answering], total: float) -> tuple[Answering, ...]:
    best = left[0]
    rank = [one for one in left if one.weight * ALIKE >= best.weight]
    if len(rank) > 1 or best.weight >= total / 2:
        return _in_order(rank)
    return best, *_in_order([one for one in left[1:] if one.by_marks * ALIKE >= best.by_marks])


def _in_order(rank: Sequence[Answering]) -> tuple[Answering, ...]:
    return tuple(rank[place] for place in _order(rank)) if rank else ()


def _order(rank: Sequence[Answering]) -> list[int]:
    """Order those that are alike: one of each group that moves together first, the group with most weight in front.

    A car sends one thing under several ids, so that a group is likelier than each of its members; of one id, whose
    bits may all spell the same state, only the likeliest counts.
    """
    weight = np.array([one.weight for one in rank])
    ids = np.unique([str(one.field.stream) for one in rank], return_inverse=True)[1]
    together = _together([one.at() for one in rank])
    groups = []
    left = np.ones(len(rank), dtype=bool)
    while left.any():
        masses = [_mass(weight, ids, near & left) for near in together]
        chosen = int(np.where(left, masses, -1.0).round(9).argmax())
        group = np.flatnonzero(together[chosen] & left)
        left[group] = False
        groups.append([chosen, *sorted((one for one in group.tolist() if one != chosen), key=lambda one: -weight[one])])
    longest = max(map(len, groups))
    return [group[depth] for depth in range(longest) for group in groups if depth < len(group)]


def _mass(weight: Floats, ids: Integers, group: Flags) -> float:
    best = np.zeros(int(ids.max()) + 1)
    np.maximum.at(best, ids[group], weight[group])
    return float(best.sum())


def _together(at: Sequence[Floats]) -> Flags:
    """Say which of them changed at the same times, shape (fields, fields)."""
    times = np.array(at)
    none = np.isnan(times)
    apart = np.abs(times[:, None] - times[None, :]) > SAME_S
    found: Flags = ~(apart | (none[:, None] != none[None, :])).any(axis=2)
    return found


def _candidate(one: Answering, total: float, word: str, marks: Sequence[Mark], times: Floats) -> Candidate:
    late = times - one.at()
    figures = {
        "answered": float((one.fit.answers >= 0).sum()),
        "unmarked": float(one.fit.unmarked),
        "late_s": round(float(np.nanmedian(late)), 4),
    }
    because = text.because(one, word, times)
    meaning = {} if one.field.comes else text.meaning(one, word, marks)
    return Candidate(one.field.where, one.weight / total, one.weight, because, meaning, figures, word)
