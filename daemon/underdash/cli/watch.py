"""``underdash watch``: what answers, live, while what moves by itself is hidden."""

from __future__ import annotations

import argparse
import contextlib
import shutil
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import GivenError, UnderdashError
from .common import add_config, positive, told_to_stop
from .progress import redraws

if TYPE_CHECKING:
    import threading

    from ..bus.frames import Frame
    from ..finding.watching import Answer, Watcher

LOOK_S = 0.1
DRAW_S = 0.25
SECONDS = 8.0
MOST_ROWS = 16
LEAST_STRIP, MOST_STRIP = 16, 64
LEAST_ROOM = 4
SHOWN_NUMBERS = 3
"""From where to where and back, as a press goes."""
LONGEST_S = 2.0
"""What is between two frames counts at most so long: a gap, or a clock that was set, is nothing to wait for."""
Heard = tuple[str, "Frame"]


@dataclass(frozen=True, slots=True)
class Source:
    """Where frames come from.

    Attributes:
        take: returns what came since the last call; waits so many seconds where nothing did.
        over: says whether nothing comes any more.
    """

    take: Callable[[float], list[Heard]]
    over: Callable[[], bool]


class Steady:
    """Gives frames times that never go back and have no long gaps, whatever the clock of who wrote them did."""

    def __init__(self) -> None:
        self.now = 0.0
        self._last: float | None = None

    def __call__(self, frame: Frame) -> Frame:
        """Return the frame at its time since the first one, in seconds."""
        step = 0.0 if self._last is None else frame.at - self._last
        self._last = frame.at
        self.now += min(max(0.0, step), LONGEST_S)
        return replace(frame, at=self.now)


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_config(parser)
    parser.add_argument("--trace", metavar="F", help="play a recording at its own pace instead of the car")
    parser.add_argument(
        "--quiet", type=positive, default=10.0, metavar="N", help="for so many seconds nobody touches anything"
    )
    parser.add_argument("--seconds", type=positive, metavar="N", help="stop by itself; else with Ctrl-C")


def run(arguments: argparse.Namespace) -> int:
    """Watch until the time is over or a person stops it; nothing is ever sent."""
    from ..finding.watching import Watcher

    if sys.stdout is None:
        raise UnderdashError("the standard output is closed, so there is nowhere to draw; say it in a terminal")
    watcher = Watcher(arguments.quiet)
    with told_to_stop() as stop, _source(arguments) as source:
        now = _look_on(watcher, source, stop, arguments.seconds)
        over = source.over() and arguments.trace is None
    if arguments.trace is not None and not watcher.frames and source.over():
        raise GivenError(f"{arguments.trace}: no frame in it; record one with underdash record")
    if not redraws(sys.stdout) and watcher.frames:
        print("\n".join(lines(watcher, now, *shutil.get_terminal_size())))
    print(_last(watcher), file=sys.stderr)
    if over:
        print("underdash: whoever had the buses open has ended; say this again once it runs", file=sys.stderr)
    return 0 if watcher.frames and not over else 1


@contextlib.contextmanager
def _source(arguments: argparse.Namespace) -> Iterator[Source]:
    if arguments.trace is not None:
        yield _played(Path(arguments.trace))
        return
    from .live import live

    steady = Steady()
    with live(arguments) as heard:
        yield Source(lambda wait_s: [(bus, steady(frame)) for bus, frame in heard.take(wait_s)], heard.ended.is_set)


def _played(path: Path) -> Source:
    """Return what hands out the frames of a trace at their own pace."""
    from ..bus.trace import read_trace

    steady = Steady()
    frames = ((bus, steady(frame)) for bus, frame in read_trace(path))
    begun = time.monotonic()
    ahead = deque(islice(frames, 1))

    def take(wait_s: float) -> list[Heard]:
        time.sleep(wait_s)
        found = []
        while ahead and ahead[0][1].at <= time.monotonic() - begun:
            found.append(ahead.popleft())
            ahead.extend(islice(frames, 1))
        return found

    return Source(take, lambda: not ahead)


def _look_on(watcher: Watcher, source: Source, stop: threading.Event, seconds: float | None) -> float:
    """Look on until it is over; returns the time of the last frame."""
    begun = drawn_at = time.monotonic()
    now, picture = 0.0, Picture()
    while not stop.is_set() and (seconds is None or time.monotonic() - begun < seconds):
        over = source.over()  # before the rest is taken
        for bus, frame in source.take(LOOK_S):
            watcher.take(bus, frame)
            now = frame.at
        if over or time.monotonic() - drawn_at >= DRAW_S:
            drawn_at = time.monotonic()
            size = shutil.get_terminal_size()
            picture.draw(lines(watcher, now, *size), size)
        if over:
            break
    return now


class Picture:
    """Lines drawn over those that were drawn before, on a terminal; elsewhere nothing is drawn."""

    def __init__(self) -> None:
        self._rows = 0
        self._size: tuple[int, int] | None = None

    def draw(self, text: list[str], size: tuple[int, int]) -> None:
        """Draw; where the size is another one by now, the terminal moved what it had, and all is drawn afresh."""
        if not redraws(sys.stdout):
            return
        up = f"\x1b[{self._rows}A" if self._rows else ""
        if self._size not in (None, size):
            up = "\x1b[2J\x1b[H"
        print(up + "".join(f"\x1b[2K{line}\n" for line in text) + "\x1b[J", end="", flush=True)
        self._rows, self._size = len(text), size


def lines(watcher: Watcher, now: float, columns: int, rows: int = 24) -> list[str]:
    """Return what is shown, none longer than a terminal is wide and no more than it is high, less one each."""
    text = _said(watcher, now, columns, max(1, min(MOST_ROWS, rows - 3)))
    return [line[: max(1, columns - 1)] for line in text[: max(1, rows - 1)]]


def _said(watcher: Watcher, now: float, columns: int, most: int) -> list[str]:
    """Say what to do, then draw a strip for each field that answered within the last seconds."""
    left = watcher.quiet_left_s(now)
    if not watcher.frames:
        return ["nothing is heard yet; the car asleep, or a wrong pin?"]
    if left > 0:
        return [f"touch nothing for {left:.0f} s more: what moves by itself is learned, to be hidden"]
    bits, ids = watcher.hidden()
    answers = watcher.answers(now, SECONDS)
    head = f"press and release, and look what answers ({bits} bits of {ids} ids move by themselves and are hidden)"
    drawn = [_row(one, now, columns) for one in answers[:most]]
    more = [f"and {len(answers) - most} more"] if len(answers) > most else []
    return [head, *(drawn or ["nothing answers"]), *more]


def _row(answer: Answer, now: float, columns: int) -> str:
    from ..finding.found import bits_text
    from ..finding.watching import strip

    name = f"{answer.place} {bits_text(answer.bits)}"
    numbers = [str(number) for number in (answer.before, *(number for _, number in answer.changes))]
    value, short = " -> ".join(numbers[-SHOWN_NUMBERS:]), " -> ".join(numbers[-2:])
    width = min(MOST_STRIP, max(LEAST_STRIP, columns - 54))
    if columns - 54 >= LEAST_STRIP:
        return f"{name:34.34} {strip(answer, now, SECONDS, width)} {value}"
    room = columns - 1 - len(f"{name}  {short}")  # on a narrow terminal which one it is counts more than its strip
    drawn = f" {strip(answer, now, SECONDS, min(width, room))}" if room >= LEAST_ROOM else ""
    return f"{name}{drawn} {short if room >= -1 else short.replace(' ', '')}"


def _last(watcher: Watcher) -> str:
    if not watcher.frames:
        return "nothing was heard: the car is asleep, the bus is silent behind a gateway, or a pin is wrong"
    bits, ids = watcher.hidden()
    return (
        f"{watcher.frames} frames; {bits} bits of {ids} ids move by themselves. Next: underdash record TRACE while you "
        "press five times, then underdash find pressed TRACE"
    )
