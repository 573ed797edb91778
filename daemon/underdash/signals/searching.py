"""Finding a signal by what somebody calls it: a word of its name or meaning, or a spelling that comes near."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..contract.signals import Signal

ALIKE = 0.65
"""How alike the last parts of two names must be, 0 to 1, for one to be meant by the other."""


def found(words: Iterable[str], signals: Mapping[str, Signal]) -> list[Signal]:
    """Return the signals whose name or meaning has all of these words, by name."""
    wanted = [word.casefold() for word in words]
    return [
        signals[name]
        for name in sorted(signals)
        if all(word in f"{name} {name.replace('_', ' ')} {signals[name].meaning}".casefold() for word in wanted)
    ]


def nearest(name: str, names: Iterable[str]) -> str | None:
    """Return the spelling of `names` that comes nearest to `name`, None if none is near.

    The quantity (``oil_temperature``) decides whether one is near at all, since every second name has the same part of
    the car (``engine``) in front.
    """
    from difflib import SequenceMatcher  # only somebody who made a mistake waits for it

    part, _, quantity = name.casefold().rpartition(".")
    best, best_score = None, 0.0
    for other in names:
        other_part, _, other_quantity = other.rpartition(".")
        alike = SequenceMatcher(None, quantity, other_quantity).ratio()
        if alike < ALIKE:
            continue
        score = alike + 0.5 * SequenceMatcher(None, part, other_part).ratio()
        if score > best_score:
            best, best_score = other, score
    return best


def hint(name: str, signals: Mapping[str, Signal]) -> str:
    """Say what might be meant by a name that nobody declared, and how to find names like it."""
    near = nearest(name, signals)
    guess = f"did you mean {near!r}? " if near else "declare it in a plug-in's signals hook, or take another; "
    return f"{guess}`underdash signals {_word(name, signals)}` lists names like it"


def _word(name: str, signals: Mapping[str, Signal]) -> str:
    """Return the longest word of a name that finds anything."""
    words = sorted(name.replace(".", "_").split("_"), key=len, reverse=True)
    return next((word for word in words if len(word) > 2 and found([word], signals)), "WORD")
