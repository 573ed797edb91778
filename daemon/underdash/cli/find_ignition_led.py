"""The led recording of ``underdash find ignition --live``: says what to do, and records until the buses sleep."""

from __future__ import annotations

import argparse
import datetime
import queue
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from .common import told_to_stop
from .marking import FIRST_WORD, marking

if TYPE_CHECKING:
    from ..bus.frames import Frame
    from ..bus.trace import TraceWriter
    from ..finding.lead_ignition import IgnitionLead

LOOK_S = 0.1
SKIP = "-"


class Source(Protocol):
    """Where frames come from; `live.Live` is one."""

    ended: threading.Event

    def take(self, wait_s: float) -> list[tuple[str, Frame]]:
        """Return what came since the last call."""


@dataclass
class Person:
    """What a person does meanwhile.

    Attributes:
        typed: (seconds, word) of each line.
        stop: set once they have enough of it.
    """

    typed: queue.Queue[tuple[float, str]] = field(default_factory=queue.Queue)
    stop: threading.Event = field(default_factory=threading.Event)


def record_led(arguments: argparse.Namespace) -> None:
    """Write a recording to the trace that was named, while a person is led through the positions.

    Raises:
        UnderdashError: it cannot be recorded.
    """
    from ..bus.trace import TraceWriter
    from ..finding.lead_ignition import IgnitionLead
    from ..wiring.recorder import about
    from .live import live

    path, now = Path(arguments.trace), datetime.datetime.now(datetime.UTC)
    with live(arguments) as source, TraceWriter(path, about(now)) as out, told_to_stop() as stop:
        person = Person(stop=stop)
        with marking(lambda word: person.typed.put((time.monotonic(), word)), led=True):
            follow(IgnitionLead(time.monotonic()), source, out, person)


def follow(
    lead: IgnitionLead,
    source: Source,
    out: TraceWriter,
    person: Person,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Record and lead until all is done, the buses end, or the person stops it."""
    while not (lead.done or person.stop.is_set() or source.ended.is_set()):
        frames = source.take(LOOK_S)
        for role, frame in frames:
            out.write(role, frame)
        if frames:
            lead.heard(clock())
        while not person.typed.empty():
            _take(lead, out, *person.typed.get())
        said = lead.tick(clock())
        if said:
            print(said, file=sys.stderr, flush=True)


def _take(lead: IgnitionLead, out: TraceWriter, at: float, word: str) -> None:
    """Mark what was asked for; a word that was typed is another deed, such as a door."""
    if word == SKIP:
        lead.skipped(at)
        return
    asked = word == FIRST_WORD
    if asked:
        if lead.word is None:
            print("nothing is asked for now", file=sys.stderr, flush=True)
            return
        word = lead.word
    out.mark(word, at)
    if asked:
        lead.marked(at)
    print(f"marked: {word}", file=sys.stderr, flush=True)
