"""The led recording of ``underdash find ignition --live``: says what to do, and records until the buses sleep."""

from __future__ import annotations

import argparse
import queue
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import UnderdashError
from ..finding.hearing import Hearing
from .common import told_to_stop
from .marking import FIRST_WORD, keyboard_needed, marking

if TYPE_CHECKING:
    from ..bus.trace import TraceWriter
    from ..finding.ignition.lead import IgnitionLead
    from .live import Source

LOOK_S = 0.1
SKIP = "-"


@dataclass
class Person:
    """What a person does meanwhile.

    Attributes:
        typed: (seconds, word) of each line.
        stop: set once they have enough of it.
    """

    typed: queue.Queue[tuple[float, str]] = field(default_factory=queue.Queue)
    stop: threading.Event = field(default_factory=threading.Event)


def record_led(arguments: argparse.Namespace) -> bool:
    """Write a recording to the trace that was named, while a person is led through the positions.

    Returns:
        Whether the person stopped it.

    Raises:
        UnderdashError: it cannot be recorded, or nothing was heard.
    """
    from ..finding.ignition.lead import IgnitionLead
    from .live import live, new_trace

    keyboard_needed()
    with live(arguments) as source, new_trace(Path(arguments.trace)) as out, told_to_stop() as stop:
        person = Person(stop=stop)
        with marking(lambda word: person.typed.put((time.monotonic(), word)), led=True, ended=stop.set):
            follow(IgnitionLead(time.monotonic()), source, out, person)
    if not out.frames:
        if stop.is_set():
            raise KeyboardInterrupt
        raise UnderdashError("nothing was heard: a gateway lies between, or a pin is wrong; underdash listen says more")
    return stop.is_set()


def follow(
    lead: IgnitionLead,
    source: Source,
    out: TraceWriter,
    person: Person,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Record and lead until all is done, the buses end, or the person stops it."""
    hearing = Hearing(clock())
    while not (lead.done or person.stop.is_set() or source.ended.is_set()):
        frames = source.take(LOOK_S)
        for role, frame in frames:
            out.write(role, frame)
        if frames:
            lead.heard(clock())
            hearing.heard(clock())
        elif not lead.awake:
            hearing.asleep(clock())
        while not person.typed.empty():
            _take(lead, out, *person.typed.get())
        for said in (hearing.tick(clock()), lead.tick(clock())):
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
