"""Marks: when a person did something, in their own word. They are late by up to `LATEST_S`, and some are missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import nan

from ..bus.interval_marks import BEGIN, END
from ..bus.trace_lacks import half_line
from ..contract.errors import GivenError
from .heard import Heard

LATEST_S = 0.7
"""Longest that a person takes from the deed to the mark (common practice: a simple reaction takes 0.2 to 0.3 s)."""
EARLY_S = 0.5
"""A time may lie this much before the first frame, since people round to whole seconds."""
MOST_MARKS = 500
"""Of one word; a person who presses sets far fewer, and time and memory grow with their square."""
MOST_IN_ALL, MOST_WORDS = 5000, 100
"""Marks, and words among them, that are taken; somebody who notes has a tenth of that."""
MOST_LISTED = 10
MOST_LETTERS = 80
LARGEST_S = 1e12
"""No clock of a trace goes beyond."""
WALL_CLOCK_S = 1e9
"""Seconds since 1970 are larger, those since a machine was started are smaller."""
FEWER = "name a file with fewer"
LINE = "a line reads SECONDS WORD or FROM..UNTIL WORD, with + before each number to count from the first frame"


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark.

    Attributes:
        begin: seconds, in the trace's clock.
        word: what was done.
        end: when it was over, of a thing that was held; None of a mark without a length.
    """

    begin: float
    word: str
    end: float | None = None

    @property
    def last(self) -> float:
        """The latest time it names."""
        return self.begin if self.end is None else self.end


def parse_marks(lines: Iterable[str], name: str, first: float) -> tuple[Mark, ...]:
    """Read marks, one a line: ``SECONDS WORD`` or ``FROM..UNTIL WORD``; what follows a ``#`` is a comment.

    Args:
        lines: the file's.
        name: the file's, for messages.
        first: when the trace's first frame came, in its clock; numbers with a ``+`` before them count from there.

    Returns:
        Them in ascending order.

    Raises:
        GivenError: a line that reads otherwise.
    """
    marks: list[Mark] = []
    for number, line in enumerate(lines, 1):
        text = line.partition("#")[0].strip()
        if text:
            if len(marks) >= MOST_IN_ALL:
                raise GivenError(f"{name} has more than {MOST_IN_ALL} marks, the most that are taken; {FEWER}")
            try:
                marks.append(_mark(text, first))
            except ValueError as exc:
                raise GivenError(f"{name}, line {number}: {_shown(text)!r}: {exc}; {LINE}") from None
    return tuple(sorted(marks, key=lambda mark: mark.begin))


def _mark(text: str, first: float) -> Mark:
    when, *words = text.split()
    word = " ".join(words)
    if not word:
        raise ValueError("there is no word that says what was done")
    if len(word) > MOST_LETTERS or not word.isprintable():
        raise ValueError(f"a word has up to {MOST_LETTERS} letters that can be shown")
    begin, dots, end = when.partition("..")
    if dots and begin.startswith("+") != end.startswith("+"):
        raise ValueError("only one of both times has a +")
    mark = Mark(_time(begin, first), word, _time(end, first) if dots else None)
    if mark.last < mark.begin:
        raise ValueError("it ends before it begins")
    return mark


def _time(text: str, first: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = nan
    if not abs(value) < LARGEST_S:
        point = f"; write {text.replace(',', '.')}" if text.count(",") == 1 else ""
        raise ValueError(f"{_shown(text)!r} is no number of seconds{point}")
    return first + value if text.startswith("+") else value


def _shown(text: str) -> str:
    return text if len(text) <= MOST_LETTERS else f"{text[:MOST_LETTERS]}..."


def marks_in(heard: Heard) -> tuple[Mark, ...]:
    """Return the marks that a trace carries itself; of their words, what can be shown.

    One that says ``dimmer up begin`` and the next ``dimmer up end`` are one interval ``dimmer up``.
    """
    if len(heard.marks) > MOST_IN_ALL:
        raise GivenError(
            f"there are {len(heard.marks)} marks in {heard.trace or 'the trace'}, and {MOST_IN_ALL} are the most that "
            "are taken: name a file with fewer by --marks"
        )
    return _with_intervals(
        Mark(at, "".join(sign if sign.isprintable() else "?" for sign in word[:MOST_LETTERS]))
        for at, word in heard.marks
    )


def _with_intervals(marks: Iterable[Mark]) -> tuple[Mark, ...]:
    begun: dict[str, Mark] = {}
    whole: list[Mark] = []
    for mark in marks:
        name = mark.word.removesuffix(END)
        if name != mark.word and name in begun:
            whole.append(Mark(begun.pop(name).begin, name, mark.begin))
        elif mark.word.endswith(BEGIN):
            name = mark.word.removesuffix(BEGIN)
            if name in begun:
                whole.append(begun[name])
            begun[name] = mark
        else:
            whole.append(mark)
    return tuple(sorted([*whole, *begun.values()], key=lambda mark: mark.begin))


def marks_of(marks: Sequence[Mark], heard: Heard, words: Sequence[str] = ()) -> dict[str, tuple[Mark, ...]]:
    """Sort marks by their word, in the order in which the words come first.

    Args:
        marks: all there are.
        heard: the trace they belong to.
        words: only these; none means all.

    Raises:
        GivenError: there are none, none of a word that was asked for, or some that lie outside the trace.
    """
    if not marks:
        raise GivenError(
            f"there are no marks in {heard.trace or 'the trace'}; name a file with --marks, or press Enter at each "
            "deed while you record"
        )
    by_word: dict[str, list[Mark]] = {}
    for mark in marks:
        by_word.setdefault(mark.word, []).append(mark)
    for word in words:
        if word not in by_word:
            raise GivenError(f"no mark says {word!r}; those there are say {listed(by_word)}")
    chosen = {word: tuple(by_word[word]) for word in words or by_word}
    if len(chosen) > MOST_WORDS:
        raise GivenError(f"the marks say {len(chosen)} different words, and {MOST_WORDS} are searched at once; {FEWER}")
    for word, some in chosen.items():
        if len(some) > MOST_MARKS:
            raise GivenError(
                f"{len(some)} marks say {word!r}, and {MOST_MARKS} of one word are the most that are weighed; five to "
                f"fifty do: {FEWER}"
            )
    outside = [mark for some in chosen.values() for mark in some if not _within(mark, heard)]
    if outside:
        inside = sum(map(len, chosen.values())) > len(outside)
        raise GivenError(_why_outside(outside, heard, inside=inside))
    return chosen


def beside(
    marks: Sequence[Mark], heard: Heard, chosen: Mapping[str, tuple[Mark, ...]]
) -> Mapping[str, tuple[Mark, ...]]:
    """Return the marks that were chosen and those of all other words, which tell them apart, where these can be taken.

    Args:
        marks: all there are.
        heard: the trace they belong to.
        chosen: those of the words that were asked for.
    """
    try:
        return {**chosen, **marks_of(marks, heard)}
    except GivenError:
        return chosen


def _within(mark: Mark, heard: Heard) -> bool:
    # a bus may fall asleep while a recording goes on, so that its own marks reach beyond the frames
    own = [at for at, _ in heard.marks]
    return min([heard.begin, *own]) - EARLY_S <= mark.begin and mark.last <= max([heard.end, *own]) + LATEST_S


def _why_outside(outside: Sequence[Mark], heard: Heard, *, inside: bool) -> str:
    """Say which marks lie outside, and why that may be: another time base, or a trace that ends too soon.

    Args:
        outside: those marks.
        heard: the trace.
        inside: whether others lie in it.
    """
    mark = outside[0]
    when = f"at {mark.begin:.1f} s" if mark.end is None else f"from {mark.begin:.1f} to {mark.end:.1f} s"
    lies = f"and {len(outside) - 1} more lie" if len(outside) > 1 else "lies"
    text = (
        f"the mark {mark.word!r} {when} {lies} outside the trace, which goes from {heard.begin:.1f} to "
        f"{heard.end:.1f} s"
    )
    wall = WALL_CLOCK_S
    if mark.begin >= wall > heard.end:
        return f"{text}: it seems to be taken from a wall clock; write seconds since the first frame, with a + before"
    if heard.begin >= wall > mark.begin > heard.end - heard.begin:
        return f"{text}, whose clock is a wall clock; write seconds since the first frame, with a + before"
    if all(one.begin >= 0 and one.last <= heard.end - heard.begin + LATEST_S for one in outside):
        return f"{text}; if it counts from the trace's first frame, write a + before it"
    if all(one.begin >= heard.begin - LATEST_S for one in outside):
        if inside or half_line() in heard.remarks or mark.begin <= heard.end:
            return f"{text}: the trace ends before that was over; take such marks out, or record again"
        return f"{text}: the trace ends before, or the marks belong to another one; use those of this trace"
    return f"{text}: another time base, or marks of another trace?"


def listed(words: Iterable[str]) -> str:
    """Write some words, in quotation marks."""
    shown = [repr(word) for word in words]
    more = f" and {len(shown) - MOST_LISTED} more" if len(shown) > MOST_LISTED else ""
    return ", ".join(shown[:MOST_LISTED]) + more
