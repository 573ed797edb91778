"""Turns of a knob or strokes of a pedal, as marks tell them: ``12..16 dimmer up``, ``20..28 pedal end to end``."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ...contract.errors import GivenError
from ..heard import Flags, Floats
from ..marks import LATEST_S, Mark

WAYS = {"up": 1, "down": -1, "end to end": 0}
LATER_S = 0.3
"""A value may go on so long after a mark has ended: it is smoothed, or its frame comes rarely."""


@dataclass(frozen=True, slots=True)
class Sweep:
    """One movement from an end.

    Attributes:
        begin, until: seconds, as marked.
        way: 1 up, -1 down, 0 to the other end and perhaps back.
    """

    begin: float
    until: float
    way: int

    @property
    def first(self) -> float:
        """When it may have begun: a person's mark is late."""
        return self.begin - LATEST_S

    @property
    def last(self) -> float:
        """When it was over."""
        return self.until + LATER_S


def sweeps_of(marks: Iterable[Mark]) -> dict[str, tuple[Sweep, ...]]:
    """Sort marks by the control they name, in the order in which the controls come first.

    A mark's words are the control's name, perhaps ``turned``, and which way; without a way it is ``end to end``.

    Raises:
        GivenError: a mark has no length.
    """
    found: dict[str, list[Sweep]] = {}
    for mark in marks:
        if mark.end is None or mark.end <= mark.begin:
            raise GivenError(
                f"the mark {mark.word!r} at {mark.begin:.1f} s has no length; a turn is marked as "
                f"{mark.begin:.1f}..{mark.begin + 4:.1f} {mark.word}, from its begin to its end, or while you record "
                f"by `{mark.word} begin` and `{mark.word} end`"
            )
        name, way = _split(mark.word)
        found.setdefault(name, []).append(Sweep(mark.begin, mark.end, way))
    return {name: tuple(some) for name, some in found.items()}


def _split(word: str) -> tuple[str, int]:
    words = word
    way = 0
    for text, meant in WAYS.items():
        if words == text or words.endswith(f" {text}"):
            words, way = words.removesuffix(text).strip(), meant
            break
    return words.removesuffix("turned").strip() or "control", way


def moving(at: Floats, sweeps: Iterable[Sweep]) -> Flags:
    """Say which steps from one frame to the next may be part of a sweep, shape (frames - 1,)."""
    flags = np.zeros(max(len(at) - 1, 0), dtype=bool)
    for sweep in sweeps:
        flags |= (at[1:] >= sweep.first) & (at[:-1] <= sweep.last)
    return flags
