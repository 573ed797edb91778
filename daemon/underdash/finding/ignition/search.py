"""Which field tells the position of the ignition, from a recording in which a person turned it and said when.

The field that is wanted reads otherwise whenever the ignition is on than whenever it is not, the same each time, and
does not answer to doors, key or alarm. Many fields do: lamps, relays, control units that wake. Of these the ignition
itself tells more positions apart and changes first; what follows later is a consequence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..found import Answer, Candidate, Where
from ..heard import Floats, Heard
from ..marks import Mark
from . import told as text
from .positions import RUNNING, Led, led
from .turning import Turning, turnings

A_POSITION, A_READY, A_ROUND, A_COPY = 1.5, 0.7, 0.5, 0.7
"""What speaks for a field, as logarithms of odds: a further position told apart, ON told from running, a position that
came again, and that it is on another bus or id too, since many control units need it. Set by judgement before any
recording was searched, but for the last one."""
A_CHANGE, DARK_START = 1.0, 1.5
"""What speaks against it: a change nobody marked or a turn without one, and that it reads off while starting."""
LATE_S = 0.2
"""A field that changes this much after the first one is less likely by a factor of e; usual frames of a body's control
units come as often (common practice)."""
NOTHING = 0.0
"""Logarithm of the odds that none of the fields is the ignition, against one that tells on from off once."""
MOST_SURE = 0.99
"""There may always be another field that the recording cannot tell from it."""
ALIKE = 0.7
"""Of two whose odds differ by at most a factor of two, none is told to be better."""
COPY_S = 0.05
"""The same numbers within this time are a copy, handed on by a gateway."""
MOST_TOLD = 100
LEAST_SHARE = 0.005


@dataclass(frozen=True)
class Weighed:
    """A field and the logarithm of its odds.

    Attributes:
        turning: the field.
        log_odds: before all are compared.
        late_s: how long after the first of all fields it changes, in the mean.
        copies: fields elsewhere that read the same at the same times.
    """

    turning: Turning
    log_odds: float
    late_s: float
    copies: tuple[Turning, ...] = ()


def ignition(heard: Heard, marks: Mapping[str, Sequence[Mark]]) -> Answer:
    """Find the ignition's field by marks of its positions; others among the marks are counter-examples.

    Raises:
        GivenError: the marks do not say when it was on and when not.
    """
    whole = led(heard, marks)
    best, remarks, said = _search(whole)
    if not best:
        best, remarks, said = _with_a_mark_missing(whole)
    if not best:
        return Answer("ignition", remarks=(text.nothing(whole), *_search(whole)[1]))
    odds = np.exp([one.log_odds for one in best])
    shares = np.minimum(odds / (odds.sum() + np.exp(NOTHING)), MOST_SURE)
    early = sum(one.late_s <= text.FIRST_S for one in best)
    told = [
        _candidate(one, float(share), said, early)
        for one, share in zip(best, shares, strict=True)
        if share >= LEAST_SHARE
    ][:MOST_TOLD]
    ranks = ranked(told)
    return Answer("ignition", ranks, (*text.advice(best[0].turning, said, ranks), *remarks))


Searched = tuple[list[Weighed], tuple[str, ...], Led]


def _search(said: Led) -> Searched:
    """Return the fields that go with the ignition, best first, and sentences on those that answer to other deeds."""
    found = [one for stream in said.heard for one in turnings(stream, said)]
    kept = [one for one in found if not one.answers and one.odd <= len(said.stays)]
    best = _joined(_without_parts(_weighed(kept, said)))
    return best, text.turned_away([one for one in found if one.answers]), said


def _with_a_mark_missing(whole: Led) -> Searched:
    """Search without the stay in which a turn went unmarked, whichever that makes a field fit best."""
    tried = [_search(said) for said in whole.with_one_left_out()]
    best, remarks, said = max(tried, key=lambda one: one[0][0].log_odds if one[0] else -np.inf, default=([], (), whole))
    left_out = next((stay for stay in whole.stays if stay not in said.stays), None)
    if left_out is not None:
        remarks = (text.mark_missing(left_out, whole), *remarks)
    return [Weighed(one.turning, one.log_odds - A_CHANGE, one.late_s, one.copies) for one in best], remarks, said


def ranked(candidates: Sequence[Candidate]) -> tuple[tuple[Candidate, ...], ...]:
    """Put those whose odds are alike into one rank; they come best first."""
    ranks: list[list[Candidate]] = []
    for one in candidates:
        if ranks and ranks[-1][0].score - one.score <= ALIKE:
            ranks[-1].append(one)
        else:
            ranks.append([one])
    return tuple(map(tuple, ranks))


def _weighed(found: Sequence[Turning], said: Led) -> list[Weighed]:
    """Weigh fields against each other; the best comes first."""
    if not found:
        return []
    first: Floats = np.fmin.reduce([one.at for one in found])
    weighed = []
    for one in found:
        behind = np.maximum(0.0, one.at - one.width - first)
        late_s = float(np.nanmean(behind)) if np.isfinite(behind).any() else 0.0
        ready = RUNNING in one.raws and "ON" in one.raws and one.raws[RUNNING] != one.raws["ON"]
        log_odds = (
            A_POSITION * (one.told_apart - 2) + A_READY * ready + A_ROUND * said.rounds
            - A_CHANGE * (one.odd + one.missed) - DARK_START * one.start_is_dark - late_s / LATE_S
        )  # fmt: skip
        weighed.append(Weighed(one, log_odds, late_s))
    return sorted(weighed, key=_best_first)


def _best_first(one: Weighed) -> tuple[float, int]:
    """Of what is alike, more neighbouring bits are rather one field than several."""
    return -one.log_odds, one.turning.low - one.turning.high


def _without_parts(weighed: Sequence[Weighed]) -> list[Weighed]:
    """Leave out fields that share bits with a better one."""
    taken: set[tuple[int, int]] = set()
    kept = []
    for one in weighed:
        field = one.turning
        bits = {(id(field.stream), 8 * field.byte + bit) for bit in range(field.low, field.high + 1)}
        if not bits & taken:
            taken |= bits
            kept.append(one)
    return kept


def _joined(weighed: Sequence[Weighed]) -> list[Weighed]:
    """Count copies of a field with several values as one thing, named by the one that changes first."""
    kept: list[Weighed] = []
    for one in weighed:
        place = next((n for n, other in enumerate(kept) if _copies(one.turning, other.turning)), None)
        if place is None:
            kept.append(one)
            continue
        before = kept[place]
        log_odds = before.log_odds + (0.0 if before.copies else A_COPY)
        kept[place] = Weighed(before.turning, log_odds, before.late_s, (*before.copies, one.turning))
    return sorted(kept, key=_best_first)


def _copies(one: Turning, other: Turning) -> bool:
    if len(set(one.raws.values())) < 3 or dict(one.raws) != dict(other.raws):
        return False
    apart = np.abs(one.at - other.at)
    return bool((apart <= COPY_S + np.fmax(one.width, other.width))[np.isfinite(apart)].all())


def _candidate(one: Weighed, share: float, said: Led, early: int) -> Candidate:
    field = one.turning
    stream = field.stream
    where = Where(stream.bus, stream.id, stream.extended, field.bits)
    figures = {"told_apart": float(field.told_apart), "after_s": round(one.late_s, 4), "odd": float(field.odd)}
    because = text.because(field, one.late_s, one.copies, said, early=early)
    return Candidate(where, share, one.log_odds, because, text.meaning(field.raws), figures)
