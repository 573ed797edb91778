"""Sentences about what answers to marks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..heard import Heard
from ..lacks import counted
from ..marks import Mark
from ..small import Small
from .answering import usual

if TYPE_CHECKING:
    from .weighing import Answering

ENOUGH = 5
"""Marks that are usually enough (common practice)."""
SHARED = 0.4
"""Unmarked changes for each mark from which on it is said that something else may move the field (our choice)."""


def follows(first: Small, after_s: float) -> str:
    """Say of what it is a consequence."""
    return f"follows {first.where} by {1000 * after_s:.0f} ms each time: rather its consequence"


def because(one: Answering, word: str, times: np.ndarray[tuple[int], np.dtype[np.float64]]) -> tuple[str, ...]:
    """Say what speaks for a field and what against."""
    late = (times - one.at())[one.fit.answers >= 0]
    first, last = (f"{max(0.0, at):.2f}" for at in (late.min(), late.max()))
    span = first if first == last else f"{first} to {last}"
    what = "frames of this id, which is sent on occasion only, come" if one.field.comes else "it changes"
    said = [f"{what} {span} s before {len(late)} of {counted(len(times), 'mark')}"]
    thing = "such occasion" if one.field.comes else "such change"
    unmarked = one.fit.unmarked
    said.append(f"against it: {counted(unmarked, thing)} without a mark" if unmarked else f"no {thing} without a mark")
    if one.follows:
        said.append(one.follows)
    if one.others:
        words = [word, *dict.fromkeys(other for _, other in one.others)]
        said.append(f"one field of several buttons, each with numbers of its own: {', '.join(words)}")
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
    if one.others:
        reads = [(field.rest, "released"), (usual(field, changes), word), *one.others]
        return {raw: said for middle, said in reads for raw in _numbers(field, middle)}
    if field.rest not in news and len(news) <= 2:
        reads = [(field.rest, "released"), *((raw, word) for raw in sorted(news))]
        return {raw: said for middle, said in reads for raw in _numbers(field, middle)}
    if not olds & news and len(news) == 1:
        return {**dict.fromkeys(sorted(olds), f"before {word}"), **dict.fromkeys(news, f"after {word}")}
    return {}


def _numbers(field: Small, raw: int) -> range:
    """Return all numbers that mean the same."""
    low, high = field.range_of(raw)
    return range(low, high + 1)


def nothing(word: str, marks: int, heard: Heard) -> tuple[str, ...]:
    """Say that nothing answers, and what to try."""
    buses = ", ".join(sorted({stream.bus for stream in heard}))
    said = f"nothing reacts to {word!r} on {buses}: the button may not be on this bus, or the marks belong elsewhere"
    if marks < ENOUGH:
        few = f"there {'is' if marks == 1 else 'are'} {counted(marks, 'mark')}"
        return said, f"{few}; record again with {ENOUGH} presses at irregular times and a quiet minute"
    return said, "record it once more with the ignition on, or on another bus"


def remarks(
    word: str, marks: Sequence[Mark], best: Sequence[Answering], nothing_share: float, also: Sequence[str] = ()
) -> tuple[str, ...]:
    """Say how far the best answers can be relied on, and what another recording should do.

    Args:
        word: what was done.
        marks: of it.
        best: the first rank.
        nothing_share: belief that nothing reacts.
        also: other words that the very best reads alike.
    """
    said = [_alike(word, also)] if also else []
    if nothing_share >= 0.05:
        said.append(
            f"it may also be that nothing here reacts to {word!r} ({100 * nothing_share:.0f} %); more presses, and a "
            "minute in which nobody touches anything, make it surer"
        )
    if len(best) > 1:
        said.append(_tie(word, marks, best))
    elif not also and not best[0].field.comes and best[0].fit.unmarked >= max(2, SHARED * len(marks)):
        said.append(
            f"it changes without a mark too ({best[0].fit.unmarked} times): it was done and not marked, or something "
            "else moves it as well, such as another button; press the others too, and mark each with its own word"
        )
    return tuple(said)


def _alike(word: str, also: Sequence[str]) -> str:
    words = ", ".join(map(repr, also))
    return (
        f"the first reads {word!r} and {words} alike: one button pressed in different ways, or what is common to "
        "several buttons; by itself it does not tell them apart"
    )


def _tie(word: str, marks: Sequence[Mark], best: Sequence[Answering]) -> str:
    """Say what tells apart those that answer equally well."""
    count = len(best)
    at = np.array([one.at() for one in best])
    at = at[:, ~np.isnan(at).all(axis=0)]
    spread = float(np.nanmax(np.nanmax(at, axis=0) - np.nanmin(at, axis=0)))
    if len({str(one.field.stream) for one in best}) == 1 and spread == 0.0 and len(marks) >= ENOUGH:
        text = f"{count} fields of one id answer in the same frames: parts of one number, or things that go together"
        if not any(one.fit.unmarked for one in best):
            text += f"; here each of them reads {word!r}, so the first will do (--number 1)"
        return f"{text}; press other buttons too, and mark them with other words, to see what sets them apart"
    text = f"{count} fields answer equally well, within {spread:.2f} s of each other"
    if len(marks) < ENOUGH:
        return f"{text}: record {word!r} again, {ENOUGH} times at irregular intervals, and then leave it for a minute"
    return (
        f"{text}, each time: do what moves only some of them, such as another button or {word!r} with the ignition in "
        "another position, and mark it with another word"
    )
