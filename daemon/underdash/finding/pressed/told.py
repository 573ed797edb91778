"""Sentences about what answers to marks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..found import Where
from ..heard import Heard
from ..lacks import counted
from ..marks import Mark
from ..small import Small

if TYPE_CHECKING:
    from .weighing import Answering

ENOUGH = 5
"""Marks that are usually enough (common practice)."""


def place(field: Small) -> str:
    """Write where a field is."""
    stream = field.stream
    return str(stream) if field.comes else str(Where(stream.bus, stream.id, stream.extended, field.bits))


def follows(first: Small, after_s: float) -> str:
    """Say of what it is a consequence."""
    return f"follows {place(first)} by {1000 * after_s:.0f} ms each time: rather its consequence"


def because(one: Answering, times: np.ndarray[tuple[int], np.dtype[np.float64]]) -> tuple[str, ...]:
    """Say what speaks for a field and what against."""
    late = (times - one.at())[one.fit.answers >= 0]
    span = f"{max(0.0, late.min()):.2f} to {max(0.0, late.max()):.2f} s before"
    what = "frames of this id, sent on occasion only, come" if one.field.comes else "it changes"
    said = [f"{what} {span} {len(late)} of {len(times)} marks"]
    if one.fit.unmarked:
        said.append(f"against it: {one.fit.unmarked} such changes without a mark")
    else:
        said.append("no such change without a mark")
    if one.follows:
        said.append(one.follows)
    return tuple(said)


def meaning(one: Answering, word: str, marks: Sequence[Mark]) -> dict[int, str]:
    """Say what its raw numbers were: at rest and on the word, or before and after it."""
    field = one.field
    changes = one.fit.answers[one.fit.answers >= 0]
    olds, news = set(field.raw[changes].tolist()), set(field.raw[changes + 1].tolist())
    if any(mark.end is not None for mark in marks):
        inside = {int(field.raw[np.searchsorted(field.at, (mark.begin + mark.last) / 2)]) for mark in marks}
        return (
            {raw: word if raw in inside else f"not {word}" for raw in sorted(olds | news)} if len(inside) == 1 else {}
        )
    if field.rest not in news and len(news) <= 2:
        return {field.rest: "released", **dict.fromkeys(sorted(news), word)}
    if not olds & news and len(news) == 1:
        return {**dict.fromkeys(sorted(olds), f"before {word}"), **dict.fromkeys(news, f"after {word}")}
    return {}


def nothing(word: str, marks: int, heard: Heard) -> tuple[str, ...]:
    """Say that nothing answers, and what to try."""
    buses = ", ".join(sorted({stream.bus for stream in heard}))
    said = [f"nothing reacts to {word!r} on {buses}: the button may not be on this bus, or the marks belong elsewhere"]
    if marks < ENOUGH:
        again = f"record again with {ENOUGH} presses at irregular times and a quiet minute"
        said.append(f"there {'is' if marks == 1 else 'are'} {counted(marks, 'mark')}; {again}")
    return tuple(said)


def remarks(word: str, marks: Sequence[Mark], best: Sequence[Answering], nothing_share: float) -> tuple[str, ...]:
    """Say how far the best answers can be relied on, and what another recording should do."""
    said = []
    if nothing_share >= 0.05:
        said.append(f"it may also be that nothing here reacts to {word!r} ({100 * nothing_share:.0f} %)")
    if len(best) > 1:
        said.append(_tie(word, marks, best))
    return tuple(said)


def _tie(word: str, marks: Sequence[Mark], best: Sequence[Answering]) -> str:
    """Say what tells apart those that answer equally well."""
    at = np.array([one.at() for one in best])
    at = at[:, ~np.isnan(at).all(axis=0)]
    spread = float(np.nanmax(np.nanmax(at, axis=0) - np.nanmin(at, axis=0)))
    text = f"{len(best)} fields answer equally well, within {spread:.2f} s of each other"
    if len(marks) < ENOUGH:
        return f"{text}: record {word!r} again, {ENOUGH} times at irregular intervals, and then leave it for a minute"
    return (
        f"{text}, each time: do what moves only some of them, such as another button or {word!r} with the ignition in "
        "another position, and mark it with another word"
    )
