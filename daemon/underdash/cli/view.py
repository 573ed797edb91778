"""A view of the running daemon for a terminal: what it knows, what it does, and what keeps it from doing more."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from ..contract.signals import Age, Reading
from ..wiring.status import Status

WIDTH = 100


def view(status: Status, title: str, seconds: float) -> list[str]:
    """Return the view, a line each.

    Args:
        status: how everything is.
        title: of the car and what it is doing.
        seconds: since the start.
    """
    lines = _lines(status, title, seconds)
    return [part for line in lines for part in textwrap.wrap(line, WIDTH, subsequent_indent=" " * 8) or [""]]


def one_line(status: Status, title: str, seconds: float) -> str:
    """Return the view in one line, for a log."""
    values = (status.snapshot.reading(name) for name in ("engine.boost_pressure", "engine.coolant_temperature"))
    shown = "  ".join(f"{_short(reading.name)} {_value(reading)}" for reading in values)
    return f"{clock(seconds)}  {title}: {status.power.value}, ignition {status.ignition.position.value}  {shown}"


def clock(seconds: float) -> str:
    """Write seconds as hours, minutes and seconds."""
    return f"{int(seconds) // 3600}:{int(seconds) // 60 % 60:02d}:{int(seconds) % 60:02d}"


def _lines(status: Status, title: str, seconds: float) -> Iterator[str]:
    yield f"{clock(seconds)}  {title}"
    pages = ", ".join(f"{page} on {panel}" for panel, page in status.pages) or "no panel"
    yield f"{status.power.value}; {status.ignition.why}; page {pages}" + ("; night" if status.snapshot.night else "")
    yield ""
    yield from _values(status.snapshot.readings.values())
    yield ""
    for bus in status.buses:
        yield f"bus {bus.role:<8} {bus.sentence}; {bus.load:.1%} taken, {bus.frames} frames"
    counts = status.asking
    yield (
        f"asked {counts.sent}, answered {counts.answered}, late {counts.late}, missed {counts.missed}, "
        f"negative {counts.negative}"
    )
    held = ", ".join(f"{reason} {count}" for reason, count in status.guard.items() if reason != "passed")
    yield f"guard let out {status.guard.get('passed', 0)}" + (f", held back: {held}" if held else "")
    yield from (f"closed  {sentence}" for sentence in status.closed)
    yield from (f"fault   {sentence}" for sentence in status.faults)


def _values(readings: Iterable[Reading]) -> Iterator[str]:
    """One line for each part of the car, values that are late in brackets."""
    parts: dict[str, list[str]] = {}
    for reading in sorted(readings, key=lambda one: one.name):
        if reading.seconds_old is None:
            continue
        part = reading.name.split(".")[0]
        parts.setdefault(part, []).append(f"{_short(reading.name)} {_value(reading)}")
    for part, texts in parts.items():
        line = f"{part.replace('_', ' '):<20}"
        for text in texts:
            if len(line) + len(text) > WIDTH:
                yield line.rstrip()
                line = " " * 20
            line += text + "   "
        yield line.rstrip()


def _value(reading: Reading) -> str:
    text = f"{reading.text} {reading.unit}".rstrip()
    return f"({text})" if reading.age is Age.LATE else text


def _short(name: str) -> str:
    return name.split(".", 1)[-1].replace("_", " ")
