"""Several buttons in one field: a code, or a byte by a ladder of resistors, that reads otherwise for each word.

One word alone leaves open which bits of such a field are meant, since many of them move with it. Where the words of one
recording move the same bits to different numbers, none of these bits is a button: it is one field. That a second
button sits where a first one was found is likelier beforehand than at any other place.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from math import log

import numpy as np

from ..small import Small
from .answering import usual
from .weighing import ALIKE, Answering

SHARES = 0.3
"""Belief beforehand that a second button is in the field of a first one (our choice; wheels send both ways)."""
MOVED_BY_ANOTHER = 0.1
"""Weight of what moves with another word too, for each such word, beside something that does not (our choice)."""
READ_ALIKE = 0.1
"""Belief beforehand that two words were said of one button, such as a short and a long press (our choice)."""
WORTH_POOLING = 1e-6
"""Weights of a field for two words, multiplied, against nothing, below which both together do not speak for it either
(our choice; it saves time only: five unmarked changes cost a field a factor of 1e4 or so for each word)."""
SAME = 0.75
"""Share of the marks that have to find the same number; where others press meanwhile, one is taken for another's."""


@dataclass(frozen=True)
class Found:
    """What answers to one word.

    Attributes:
        by: what answers.
        nothing: the weight of that nothing does.
    """

    by: tuple[Answering, ...]
    nothing: float

    @property
    def named(self) -> bool:
        """Whether it is believed that something answers."""
        return self.nothing < sum(one.weight for one in self.by)

    def of(self, field: Small) -> Answering | None:
        """Return how a field answers."""
        return self._by_field.get(id(field))

    @cached_property
    def _by_field(self) -> dict[int, Answering]:
        return {id(one.field): one for one in self.by}


@dataclass(frozen=True)
class _Shared:
    """A field that several words move to different numbers, and how it answers each of them."""

    field: Small
    by: Mapping[str, Answering]
    reads: Mapping[str, int]

    def belief(self, word: str, found: Found) -> float:
        """Return how far a word is believed to be in it, against places that do not lie in it."""
        own = self.by[word].weight
        others = sum(one.weight for one in found.by if one.field is not self.field and not self.holds(one, word))
        return own / (own + others + found.nothing)

    def holds(self, one: Answering, word: str) -> bool:
        """Whether something is a part of it that answers a word in the same frames."""
        field = one.field
        return (
            str(field.stream) == str(self.field.stream)
            and field.select == self.field.select
            and not field.comes
            and field.active() <= self.field.active()
            and float(np.isclose(one.at(), self.by[word].at(), rtol=0.0, equal_nan=True).mean()) >= SAME
        )


def shared(found: Mapping[str, Found], beforehand: float) -> dict[str, Found]:
    """Weigh what answers to each word by what answers to the others.

    Args:
        found: by word.
        beforehand: the weights of all fields, summed.
    """
    several = _best_of_each(_several(found), found)
    return {word: _weighed(word, some, found, several, beforehand) for word, some in found.items()}


def alike(one: Answering, word: str, found: Mapping[str, Found]) -> tuple[str, ...]:
    """Return the other words that move a field as much as this one does, in frames of their own, to no other number."""
    value = _reads(one)
    return tuple(
        other
        for other, some in found.items()
        if other != word
        and (again := some.of(one.field)) is not None
        and _apart(one, again)
        and (value is None or _reads(again) in (None, value))
    )


def _apart(one: Answering, other: Answering) -> bool:
    """Whether two words are answered by different changes of a field, but for a few that were taken for the other's."""
    own, again = {*one.fit.answers.tolist()} - {-1}, {*other.fit.answers.tolist()} - {-1}
    return len(own & again) <= (1 - SAME) * min(len(own), len(again))


def pooled(word: str, found: Mapping[str, Found]) -> str | None:
    """Return the other word that is likeliest to be the same button, where nothing is believed to answer this one.

    Their changes count against each other, though both were marked.
    """
    own = found[word]
    if own.named:
        return None
    weights: dict[str, float] = {}
    for one in own.by:
        for other in alike(one, word, found):
            again = found[other].of(one.field)
            weights[other] = max(weights.get(other, 0.0), one.weight * (again.weight if again else 0.0))
    best = max(weights, key=lambda other: weights[other], default=None)
    return best if best is not None and weights[best] >= WORTH_POOLING * own.nothing else None


def of_both(own: Found, both: Found) -> Found:
    """Return what answers to one word, weighed by the marks of it and of another that may be the same button.

    Args:
        own: what answers to its own marks.
        both: what answers to the marks of both.
    """
    by = [
        replace(again, weight=again.weight * READ_ALIKE, fit=replace(one.fit, unmarked=again.fit.unmarked))
        for again in both.by
        if (one := own.of(again.field)) is not None
    ]
    found = Found(tuple(by), both.nothing)
    return found if found.named else own


def _weighed(
    word: str, found: Found, every: Mapping[str, Found], several: Collection[_Shared], beforehand: float
) -> Found:
    by = list(found.by)
    for one in several:
        if word in one.by:
            by = _gathered(word, one, by, every, beforehand)
    also = [len(alike(one, word, every)) for one in by]
    if any(not count and one.weight > found.nothing for one, count in zip(by, also, strict=True)):
        by = [replace(one, weight=one.weight * MOVED_BY_ANOTHER**count) for one, count in zip(by, also, strict=True)]
    return Found(tuple(by), found.nothing)


def _gathered(
    word: str, one: _Shared, by: Sequence[Answering], every: Mapping[str, Found], beforehand: float
) -> list[Answering]:
    """Put the field of several words in the place of its parts, with their weight."""
    value = one.reads[word]
    others = [other for other, reads in one.reads.items() if reads != value]
    belief = max((one.belief(other, every[other]) for other in others), default=0.0)
    parts = [part for part in by if part.field is not one.field and one.holds(part, word)]
    weight = one.by[word].weight * (1 + SHARES * beforehand * belief) + sum(part.weight for part in parts)
    reads = tuple((reads, other) for other, reads in one.reads.items() if reads != value)
    gone = {id(part) for part in (*parts, one.by[word])}
    return [replace(one.by[word], weight=weight, others=reads), *(part for part in by if id(part) not in gone)]


def _several(found: Mapping[str, Found]) -> Iterator[_Shared]:
    """Yield the fields in which at least two words move the same bit, to different numbers."""
    fields = {id(one.field): one.field for some in found.values() for one in some.by}
    answers = {(word, id(one.field)): one for word, some in found.items() for one in some.by}
    for key, field in fields.items():
        by = {word: answers[word, key] for word in found if (word, key) in answers}
        reads = {word: value for word, one in by.items() if (value := _reads(one)) is not None}
        moved = {value ^ field.rest for value in reads.values()}
        known = {field.rest, *reads.values()}
        steady = all(_after(by[word]) <= known for word in reads)  # what is odd is another word's, not noise
        if steady and any(one & other for one, other in combinations(moved, 2)):
            yield _Shared(field, {word: by[word] for word in reads}, reads)


def _reads(one: Answering) -> int | None:
    """Return the number that it had after the changes that were marked; None of several, and of that at rest."""
    changes = one.fit.answers[one.fit.answers >= 0]
    if one.field.comes or not len(changes):
        return None
    value = usual(one.field, changes)
    same = float(np.mean(one.field.raw[changes + 1] == value))
    return value if same >= SAME and value != one.field.rest else None


def _after(one: Answering) -> set[int]:
    return {*one.field.raw[one.fit.answers[one.fit.answers >= 0] + 1].tolist()}


def _best_of_each(several: Iterator[_Shared], found: Mapping[str, Found]) -> list[_Shared]:
    """Return of each id the field that explains most words, and them best; the longest of those that do so alike."""
    by_id: dict[str, list[_Shared]] = {}
    for one in several:
        if all(one.by[word].weight > 0 for word in one.by) and any(
            one.belief(word, found[word]) >= 0.5 for word in one.by
        ):
            by_id.setdefault(str(one.field.stream), []).append(one)
    return [_widest(some) for some in by_id.values()]


def _widest(some: Sequence[_Shared]) -> _Shared:
    words = max(len(one.by) for one in some)
    fit = {id(one): sum(log(answer.weight) for answer in one.by.values()) for one in some}
    full = [one for one in some if len(one.by) == words]
    best = max(fit[id(one)] for one in full)
    like = [one for one in full if fit[id(one)] >= best - words * log(ALIKE)]
    return max(like, key=lambda one: (one.field.bits.length, fit[id(one)]))
