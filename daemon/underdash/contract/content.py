"""What a page says, for panels that draw by themselves: texts, roles and shares instead of pixels."""

from __future__ import annotations

from dataclasses import dataclass

from .pages import Role
from .signals import Age
from .words import Lamp, Words


@dataclass(frozen=True, slots=True)
class Shown:
    """A value as it should be read.

    Attributes:
        text: digits with sign and mark ("-0.84", "+0.3", ">1.55"), a word, or "--" where the value is gone.
        unit: the owner's unit as a label, "" where there is none.
        role: its colour by what it says.
        age: a late value steps back.
        label: its name among several, "" for the main value.
    """

    text: str
    unit: str
    role: Role
    age: Age
    label: str = ""


@dataclass(frozen=True, slots=True)
class Share:
    """Where a value stands on its scale: 0 is the low end, 1 the high end.

    Attributes:
        value: None where there is none to show.
        zero: where its band starts.
        peak: the highest one held, None where none is.
        role: colour of the band: that of the zone the value is in, soft below zero.
        average: the mean the page gives, None where it gives none.
    """

    value: float | None
    zero: float
    peak: float | None
    role: Role
    average: float | None = None


@dataclass(frozen=True, slots=True)
class Upright:
    """One of several values that stand side by side on scales of their own."""

    shown: Shown
    share: Share


@dataclass(frozen=True, slots=True)
class Content:
    """Everything a page says at one moment.

    Attributes:
        page: name of the page, for a panel that has a face of its own for it.
        title: what the page shows, in lower case.
        value: its main value.
        share: where that stands on its scale.
        rows: up to four further values.
        sentence: said in place of a main value.
        remark: a doubt about the value, or what the core wants said.
        banner: an alert.
        night: whether it is dark outside.
        hold: 0..1 while a button is being held towards a gesture, else 0.
        columns: up to four values on upright scales.
        lamps: up to four named states.
        lines: up to six short lines.
    """

    page: str
    title: str = ""
    value: Shown | None = None
    share: Share | None = None
    rows: tuple[Shown, ...] = ()
    sentence: Words | None = None
    remark: Words | None = None
    banner: Words | None = None
    night: bool = False
    hold: float = 0.0
    columns: tuple[Upright, ...] = ()
    lamps: tuple[Lamp, ...] = ()
    lines: tuple[Words, ...] = ()
