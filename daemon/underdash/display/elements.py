"""What a page put on the canvas, as values that can be compared with those of the last frame.

`Recorder` (recorder.py) makes them, parts paint them, `content_of` puts them into words.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from ..contract.pages import Role, Scale
from ..contract.signals import Age
from ..contract.words import Lamp, Words

STRIP_COLUMNS = 60
MOST_DIGITS = 8


class Sweep(NamedTuple):
    """A band along the rim; value and marks in the scale's unit, None where there is none.

    Attributes:
        coarse: whether it moves in large steps without a head, for a panel that is slow in the cold.
    """

    value: float | None
    scale: Scale
    peak: float | None
    age: Age
    average: float | None = None
    coarse: bool = False


class Figure(NamedTuple):
    """The main value: its digits, the sign and mark that hang to their left, its unit."""

    digits: str
    sign: str
    mark: str
    unit: str
    age: Age
    signed: bool
    decimals: int

    @property
    def beside(self) -> bool:
        """Whether its unit hangs to the right of the digits, as a sign of degrees does."""
        return self.unit.startswith("°")


class Column(NamedTuple):
    """A value on an upright scale: its label, its place as a sweep has it, and its text."""

    label: str
    sweep: Sweep
    text: str
    unit: str


class Strip(NamedTuple):
    """Recent history: a value for each of `STRIP_COLUMNS` equal stretches of time, oldest first."""

    columns: tuple[float | None, ...]
    scale: Scale


class Row(NamedTuple):
    """One of several values."""

    label: str
    text: str
    unit: str
    role: Role
    age: Age


class Picture(NamedTuple):
    """Everything on a panel at one moment.

    Attributes:
        card: whether it is the test card, which covers all else.
    """

    sweep: Sweep | None = None
    figure: Figure | None = None
    title: str = ""
    strip: Strip | None = None
    rows: tuple[Row, ...] = ()
    remark: Words | None = None
    banner: Words | None = None
    ring: float = 0.0
    sentence: Words | None = None
    columns: tuple[Column, ...] = ()
    lamps: tuple[Lamp, ...] = ()
    lines: tuple[Words, ...] = ()
    card: bool = False


def share_of(scale: Scale, value: float) -> float:
    """Return the place of a value on a scale, 0..1; what is beyond it stays at the end, NaN at the low one."""
    span = scale.high - scale.low
    if not value > scale.low or not span > 0:
        return 0.0
    return min((value - scale.low) / span, 1.0) if isfinite(span) and isfinite(value) else 1.0
