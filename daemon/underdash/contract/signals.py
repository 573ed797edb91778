"""Signals: what a quantity is called, what a sample of it is, and how a page sees it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

NOBODY = "nobody provides it"
"""The source of a reading whose signal has none."""

Value = float | bool | str
"""What a signal carries: a number in its stored unit, a switch, or a choice or text."""


class Kind(StrEnum):
    """What sort of value a signal carries."""

    NUMBER = "number"
    SWITCH = "switch"
    CHOICE = "choice"
    TEXT = "text"


class Quality(StrEnum):
    """How far a value can be trusted; later members outweigh earlier ones when values are combined."""

    GOOD = "good"
    DATED = "dated"
    """Rests on a reference that is older than its limit."""
    ASSUMED = "assumed"
    """Rests on a configured constant instead of a measurement."""
    ABOVE = "above"
    """The field is saturated: the true value is at least this."""
    BELOW = "below"
    """The field is saturated: the true value is at most this."""


def worst(*qualities: Quality) -> Quality:
    """Return the quality of a value that was computed from values of these qualities."""
    order = list(Quality)
    return max(qualities, key=order.index, default=Quality.GOOD)


class Age(StrEnum):
    """How old a value is against the period it is expected in."""

    FRESH = "fresh"
    LATE = "late"
    GONE = "gone"


@dataclass(frozen=True, slots=True)
class Signal:
    """A catalogue entry.

    Args:
        name: short dotted snake_case, such as ``engine.coolant_temperature``; a plug-in's own start with its name.
        unit: stored unit (kPa, degC, rpm, km/h, V, A, deg, %, s, ...) or "" where there is none.
        meaning: one line for a person.
        kind: number, switch, choice or text.
        low, high: plausible range in the stored unit; a number outside it is refused as implausible.
        choices: allowed values of a choice.
        vss: path in the COVESA Vehicle Signal Specification 6.0, where it has the quantity.
        gone_after_s: fixed age limit, for signals that are sent on change only.
    """

    name: str
    unit: str
    meaning: str
    kind: Kind = Kind.NUMBER
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    vss: str | None = None
    gone_after_s: float | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """A signal as a page sees it.

    Attributes:
        value: in the stored unit; None once the value is gone, so that no page can show the last number heard.
        shown: the number in the owner's unit, None if there is none to show.
        unit: the owner's unit as a label ("bar", "°C").
        digits: decimals that make sense in that unit.
        seconds_old: age of the sample, None if there never was one.
        stored: name of the stored unit, "" where nobody provides the signal.
    """

    name: str
    value: Value | None
    shown: float | None
    unit: str
    digits: int
    age: Age
    seconds_old: float | None
    quality: Quality
    source: str
    stored: str = ""

    @property
    def provided(self) -> bool:
        """Whether somebody provides the signal, even if its value is gone for now."""
        return self.source != NOBODY

    @property
    def text(self) -> str:
        """The value as characters: a saturated one with ">" or "<", a switch as on or off, a missing one as dashes."""
        if self.value is None:
            return "--"
        if isinstance(self.value, bool):
            return "on" if self.value else "off"
        if self.shown is None:
            return str(self.value)
        mark = {Quality.ABOVE: ">", Quality.BELOW: "<"}.get(self.quality, "")
        number = f"{self.shown:.{self.digits}f}"
        return mark + (number.lstrip("-") if float(number) == 0 else number)


class PowerState(StrEnum):
    """What the accessory is doing about power."""

    AWAKE = "awake"
    LINGERING = "lingering"
    ASLEEP = "asleep"
    HALTING = "halting"


@dataclass(frozen=True, slots=True)
class Snapshot:
    """An immutable picture of the car at `now` (monotonic seconds), handed to pages and button handlers.

    What is called `shown`, `peak` or `history` is in the unit the owner chose, as scales and strips are; limits and
    numbers to compute with are in the stored unit, and `shown` brings them over.

    Attributes:
        readings: by signal name, everything the running configuration can provide.
        stored_peaks: highest value since the last reset, in the stored unit, for signals a page asked to be held; a
            page shows `peak`.
        stored_histories: (seconds ago, value in the stored unit), oldest first, for signals a page asked to be kept;
            a page shows `history`.
        units: the owner's unit by signal name or by stored unit.
        notes: what the core wants said on every page, worst first ("no requests: ignition unknown").
        hold: 0..1 while a button is being held towards a gesture, else 0.
    """

    now: float
    readings: Mapping[str, Reading]
    stored_peaks: Mapping[str, float] = field(default_factory=dict)
    stored_histories: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    power: PowerState = PowerState.AWAKE
    night: bool = False
    notes: tuple[str, ...] = ()
    hold: float = 0.0

    def reading(self, name: str) -> Reading:
        """Return the reading of a signal; one that nobody provides reads as gone."""
        found = self.readings.get(name)
        return found or Reading(name, None, None, "", 0, Age.GONE, None, Quality.GOOD, NOBODY)

    def number(self, name: str) -> float | None:
        """Return a number in the stored unit, None where it is gone or not a number."""
        value = self.reading(name).value
        return value if isinstance(value, float) else None

    def shown(self, name: str, number: float) -> float:
        """Convert a number in a signal's stored unit, such as a limit, into the unit the owner sees it in."""
        from .units import convert  # the first page, which all wait for, has no number

        stored = self.reading(name).stored
        return convert(number, stored, self.units.get(name) or self.units.get(stored) or stored)

    def peak(self, name: str) -> float | None:
        """Return the held peak of a signal in the unit the owner sees it in; None before there is one."""
        number = self.stored_peaks.get(name)
        return None if number is None else self.shown(name, number)

    def history(self, name: str) -> tuple[tuple[float, float], ...]:
        """Return (seconds ago, value) of a signal whose history is kept, in the unit the owner sees it in."""
        return tuple((ago_s, self.shown(name, number)) for ago_s, number in self.stored_histories.get(name, ()))
