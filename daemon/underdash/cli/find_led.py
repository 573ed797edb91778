"""The led recording of ``underdash find pressed --live``: says what to do, records, and looks meanwhile."""

from __future__ import annotations

import argparse
import contextlib
import queue
import random
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import GivenError, StoppedError, UnderdashError
from ..finding.hearing import Hearing
from .common import told_to_stop
from .marking import keyboard_needed, marking

if TYPE_CHECKING:
    from ..bus.trace import TraceWriter
    from ..finding.found import Answer
    from ..finding.pressed.lead import Lead
    from .live import Source

LOOK_S = 0.1
APART_S = (3.0, 8.0)
"""Between presses, as irregular as that (common practice)."""


@contextlib.contextmanager
def cut_short(stopped: bool, trace: str) -> Iterator[None]:
    """Have a recording that a person stopped too early for an answer end as stopped, with the reason."""
    try:
        yield
    except GivenError as exc:
        if not stopped:
            raise
        raise StoppedError(f"stopped before it was enough, {trace} is kept: {exc}") from exc


def record_led(arguments: argparse.Namespace) -> tuple[list[str], bool]:
    """Write a recording to the trace that was named, while a person is led through what to do.

    Returns:
        The words that were marked, and whether the person stopped it.

    Raises:
        GivenError: no word says what is to be found.
        UnderdashError: it cannot be recorded, or nothing was heard.
    """
    from ..finding.pressed.lead import Lead, Plan
    from .live import live, new_trace

    words = [" ".join(word.split()) for word in arguments.word]
    if not all(words) or not words:
        raise GivenError("--live leads to what --word names; give it a word, such as --word menu")
    for word in words:
        if not word.isprintable():
            raise GivenError(f"--word {word!r}: a word of letters that can be shown is wanted")
    keyboard_needed()
    path = Path(arguments.trace)
    with live(arguments) as source, new_trace(path) as out:
        lead = Lead(words, time.monotonic(), waits(random.Random()), Plan(quiet_s=arguments.quiet))
        led = Led(lead, source, out, path)
        with (
            told_to_stop() as stop,
            marking(lambda _: led.typed.put(time.monotonic()), led=True, ended=stop.set),
        ):
            led.follow(stop)
    if stop.is_set() and not led.marked:
        if out.frames:
            _say(f"{out.frames} frames and no mark in {path}")
        raise KeyboardInterrupt
    if source.ended.is_set() and not led.marked:
        kept = f"; {out.frames} frames are in {path}, so choose another name then" if out.frames else ""
        raise UnderdashError(
            f"whoever had the buses open has ended before anything was marked; say this again once it runs{kept}"
        )
    return led.marked, stop.is_set()


def waits(chance: random.Random) -> Iterator[float]:
    """Yield irregular waits without end."""
    while True:
        yield chance.uniform(*APART_S)


def _say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


class Led:
    """A recording during which a person is led.

    Args:
        lead: says what to do.
        source: of the frames.
        out: the open trace.
        path: where the trace is, to be read again.
        say: tells the person.
        clock: of the frames' stamps, in seconds.

    Attributes:
        typed: when Enter was pressed; put in by whoever reads the keyboard.
        marked: words with a mark.
    """

    def __init__(
        self, lead: Lead, source: Source, out: TraceWriter, path: Path, *, say: Callable[[str], None] = _say,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self.typed: queue.Queue[float] = queue.Queue()
        self.marked: list[str] = []
        self._lead = lead
        self._source = source
        self._out = out
        self._path = path
        self._say = say
        self._clock = clock

    def follow(self, stop: threading.Event) -> None:
        """Record and lead until it is enough, the buses end, or a person stops it."""
        lead, source, out = self._lead, self._source, self._out
        hearing = Hearing(self._clock())
        while not (lead.done or stop.is_set() or source.ended.is_set()):
            frames = source.take(LOOK_S)
            for role, frame in frames:
                out.write(role, frame)
            if frames:
                hearing.heard(self._clock())
            self._take_marks()
            if not (lead.quiet or out.frames):
                raise UnderdashError(
                    "nothing was heard: the car is asleep, or a gateway lies between; underdash listen says more"
                )
            for said in (hearing.tick(self._clock()), lead.tick(self._clock())):
                if said:
                    self._say(said)
            word = lead.judging(self._clock())
            if word is not None:
                lead.judged(self._judge(word), self._clock())

    def _take_marks(self) -> None:
        while not self.typed.empty():
            at, word = self.typed.get(), self._lead.word
            if word is not None:
                self._out.mark(word, at)
                self._say(f"  {word} noted")
                self._lead.marked(at)
                self.marked += [word] if word not in self.marked else []

    def _judge(self, word: str) -> Answer:
        from ..finding.marks import beside, marks_in, marks_of
        from ..finding.pressed.search import pressed
        from ..finding.reading import read_heard

        self._out.flush()
        heard = read_heard(self._path)
        every = marks_in(heard)
        (answer,) = pressed(heard, beside(every, heard, marks_of(every, heard, [word])), [word])
        return answer
