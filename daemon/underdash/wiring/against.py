"""A description held against recordings: what each signal did over whole journeys, and what of that cannot be right."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import inf
from pathlib import Path

from ..bus.trace_lacks import lacks
from ..config.findings import Finding, Level
from ..contract.signals import Value
from ..signals.catalogue import BUTTON
from ..signals.store import Rank, Slot
from .assembly import Assembly
from .listening import TracePlayer

EARLY_S, LATE_S = 0.3, 1.0
"""A mark belongs to a press that began up to so long before it, or a little after: people are up to 0.7 s late."""
SHORTEST_S = 0.03
"""No finger is quicker (common practice)."""
LONGEST_S = 60.0
FEWEST_MARKS = 3
"""From so many marks without any press on, it is the description that is wrong and not the marks (our choice)."""
MANY = 0.01
"""Share of refused values from which on a field is wrong rather than disturbed (our choice)."""


@dataclass(slots=True)
class Press:
    """A press of a button, in seconds of the trace; `until` is inf while it lasts."""

    since: float
    until: float = inf


@dataclass(slots=True)
class Record:
    """What one source of one signal did.

    Attributes:
        count, refused: values taken, and numbers outside the signal's plausible range.
        low, high: of its numbers, stored unit.
        words: choices and switches that were seen.
        presses: of a button.
        first, last: seconds of its first and last value.
    """

    signal: str
    source: str
    unit: str
    count: int = 0
    refused: int = 0
    low: float = inf
    high: float = -inf
    words: dict[str, int] = field(default_factory=dict)
    presses: list[Press] = field(default_factory=list)
    first: float = inf
    last: float = -inf

    def take(self, value: Value | None, at: float) -> None:
        """Add a value."""
        self.count += 1
        self.first, self.last = min(self.first, at), max(self.last, at)
        if isinstance(value, bool) and self.signal.startswith(BUTTON):
            self._press(value, at)
        if isinstance(value, float):
            self.low, self.high = min(self.low, value), max(self.high, value)
        else:
            word = str(value).lower() if isinstance(value, bool) else str(value)
            self.words[word] = self.words.get(word, 0) + 1

    def _press(self, pressed: bool, at: float) -> None:
        held = bool(self.presses) and self.presses[-1].until == inf
        if pressed and not held:
            self.presses.append(Press(at))
        elif held and not pressed:
            self.presses[-1].until = at


@dataclass(slots=True)
class Journey:
    """A description held against one recording.

    Attributes:
        trace: which.
        seconds, frames: how long it is, and its data frames on buses that the car has.
        records: of each signal that the description feeds by listening.
        dropped: what was wrong with frames, by frame.
        marks: what a person noted, in seconds of the trace.
        end: seconds of the last frame.
        lacks: sentences about what the recording lacks.
    """

    trace: Path
    seconds: float
    frames: int
    records: list[Record]
    dropped: dict[str, str]
    marks: tuple[tuple[float, str], ...]
    end: float
    lacks: tuple[str, ...] = ()


def held_against(assembly: Assembly, player: TracePlayer, trace: Path) -> Journey:
    """Play a trace through a car that has not heard anything yet, and take note of all that comes of it."""
    slots = [
        slot
        for name in assembly.store.names()
        for slot in assembly.store.slots(name)
        if slot.rank in (Rank.BROADCAST, Rank.POLL)
    ]
    records = {id(slot): Record(slot.signal.name, slot.source, slot.signal.unit) for slot in slots}

    def take(slot: Slot) -> None:
        record = records.get(id(slot))
        if record is not None:
            record.take(slot.value, slot.at)

    for name in {slot.signal.name for slot in slots}:
        assembly.store.watch(name, take)
    player.play()
    for slot in slots:
        records[id(slot)].refused = slot.implausible
    counts = assembly.broadcasts.counts()
    dropped = {
        frame: ", ".join(
            f"{count} {what}"
            for count, what in ((one.short, "too short"), (one.checksum, "with a wrong checksum"))
            if count
        )
        for frame, one in counts.items()
    }
    dropped = {frame: text for frame, text in dropped.items() if text}
    seconds = player.now - (player.start or 0.0)
    marks = tuple(player.trace.marks)
    missing = [f"no frame of a channel {channel!r} is in it, which --bus names" for channel in player.absent]
    missing += lacks(player.trace)
    if player.back_at is not None:
        missing.append(f"its clock goes back after {player.back_at:.1f} s, so that what follows has no right times")
    return Journey(trace, seconds, player.frames, list(records.values()), dropped, marks, player.now, tuple(missing))


def findings(journeys: Sequence[Journey], *, untouched: bool = False) -> Iterator[Finding]:
    """Say what cannot be right.

    Args:
        journeys: recordings of this car.
        untouched: nobody touched a button in any of them, so that each press without a mark is a false one.
    """
    for journey in journeys:
        for sentence in journey.lacks:
            yield Finding(Level.NOTE, f"{journey.trace.name}: {sentence}", "what is missing there was not checked")
        for record in journey.records:
            yield from _values(record, journey)
            if record.signal.startswith(BUTTON):
                yield from _presses(record, journey, untouched=untouched)
        for frame, text in journey.dropped.items():
            yield Finding(
                Level.WARNING,
                f"{journey.trace.name}: frames {frame} were dropped: {text}",
                "look at the counter, the checksum and the length that the description gives it",
            )
    heard = {record.signal for journey in journeys for record in journey.records if record.count}
    for signal in sorted({record.signal for journey in journeys for record in journey.records} - heard):
        yield Finding(
            Level.NOTE,
            f"{signal} was never heard",
            "the recordings do not show it: another bus, a value that has to be asked for, or a frame this car lacks",
        )


def _values(record: Record, journey: Journey) -> Iterator[Finding]:
    every = record.count + record.refused
    if record.refused and record.refused >= MANY * every:
        yield Finding(
            Level.ERROR,
            f"{journey.trace.name}: {record.signal} was outside its plausible range {record.refused} of {every} times",
            "the bits, their order, the sign or the scale are wrong, or a number that means not available is missing",
        )
    elif record.refused:
        yield Finding(
            Level.WARNING,
            f"{journey.trace.name}: {record.signal} was outside its plausible range {record.refused} of {every} times",
            "a number that means not available may be missing (unavailable = [...])",
        )


def _presses(record: Record, journey: Journey, *, untouched: bool) -> Iterator[Finding]:
    word = record.signal.removeprefix(BUTTON)
    marks = [at for at, text in journey.marks if text == word]
    name = f"{journey.trace.name}: {record.signal}"
    if marks or untouched:
        false = [press.since for press in record.presses if not any(_belongs(at, press) for at in marks)]
        if false:
            yield Finding(
                Level.ERROR,
                f"{name}: {_times(false, 'false press', 'false presses')}",
                "another field answers to more than this button; find it again with such a recording added",
            )
        missed = [at for at in marks if not any(_belongs(at, press) for press in record.presses)]
        if len(missed) == len(marks) >= FEWEST_MARKS:
            yield Finding(
                Level.ERROR,
                f"{name}: not one press at {_times(missed, 'mark', 'marks')}",
                "the bits are wrong, or the marks belong to another recording; find it again",
            )
        elif missed:
            yield Finding(
                Level.WARNING,
                f"{name}: {_times(missed, 'mark', 'marks')} without a press",
                "perhaps nobody pressed then",
            )
    ends = [(press.since, min(press.until, journey.end), press.until < inf) for press in record.presses]
    odd = [at for at, end, over in ends if (over and end - at < SHORTEST_S) or end - at > LONGEST_S]
    if odd:
        yield Finding(
            Level.WARNING,
            f"{name}: {_times(odd, 'press', 'presses')} shorter than {SHORTEST_S:g} s or longer than {LONGEST_S:g} s",
            "no finger does that; look whether it is the button",
        )


def _belongs(mark: float, press: Press) -> bool:
    return press.since - EARLY_S <= mark <= press.since + LATE_S


def _times(at: Sequence[float], one: str, several: str) -> str:
    shown = ", ".join(f"{when:.1f}" for when in at[:5]) + (" ..." if len(at) > 5 else "")
    return f"{len(at)} {one if len(at) == 1 else several} (at {shown} s)"
