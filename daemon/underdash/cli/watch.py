"""``underdash watch``: what answers, live, while what moves by itself is hidden."""

from __future__ import annotations

import argparse
import contextlib
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from .common import add_config, positive, told_to_stop

if TYPE_CHECKING:
    import threading

    from ..bus.frames import Frame
    from ..finding.watching import Answer, Watcher

LOOK_S = 0.1
DRAW_S = 0.25
SECONDS = 8.0
MOST_ROWS = 16
LEAST_STRIP, MOST_STRIP = 16, 64
Take = Callable[[float], list[tuple[str, "Frame"]]]


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

    watcher = Watcher(arguments.quiet)
    with told_to_stop() as stop, _source(arguments) as take:
        _look_on(watcher, take, stop, arguments.seconds)
    print(_last(watcher), file=sys.stderr)
    return 0 if watcher.frames else 1


@contextlib.contextmanager
def _source(arguments: argparse.Namespace) -> Iterator[Take]:
    if arguments.trace is not None:
        yield _played(Path(arguments.trace))
        return
    from .live import live

    with live(arguments) as heard:
        yield heard.take


def _played(path: Path) -> Take:
    """Return what hands out the frames of a trace at their own pace."""
    from ..bus.trace import read_trace

    trace = read_trace(path)
    begun = time.monotonic()
    state: dict[str, tuple[str, Frame] | float | None] = {"next": next(trace, None)}
    first = state["next"][1].at if isinstance(state["next"], tuple) else 0.0

    def take(wait_s: float) -> list[tuple[str, Frame]]:
        time.sleep(wait_s)
        found = []
        while isinstance(one := state["next"], tuple) and one[1].at - first <= time.monotonic() - begun:
            found.append(one)
            state["next"] = next(trace, None)
        return found

    return take


def _look_on(watcher: Watcher, take: Take, stop: threading.Event, seconds: float | None) -> None:
    begun = drawn_at = time.monotonic()
    now, rows = 0.0, 0
    while not stop.is_set() and (seconds is None or time.monotonic() - begun < seconds):
        for bus, frame in take(LOOK_S):
            watcher.take(bus, frame)
            now = max(now, frame.at)
        if time.monotonic() - drawn_at >= DRAW_S:
            drawn_at = time.monotonic()
            rows = _draw(lines(watcher, now, shutil.get_terminal_size().columns), rows)


def _draw(text: list[str], before: int) -> int:
    """Draw over what was drawn before on a terminal; elsewhere nothing is drawn until the end."""
    if not sys.stdout.isatty():
        return 0
    up = f"\x1b[{before}A" if before else ""
    print(up + "".join(f"\x1b[2K{line}\n" for line in text) + "\x1b[J", end="", flush=True)
    return len(text)


def lines(watcher: Watcher, now: float, columns: int) -> list[str]:
    """Return what is shown: what to do, then a strip for each field that answered within the last seconds."""
    left = watcher.quiet_left_s(now)
    if not watcher.frames:
        return ["nothing is heard yet; the car asleep, or a wrong pin?"]
    if left > 0:
        return [f"touch nothing for {left:.0f} s more: what moves by itself is learned, to be hidden"]
    bits, ids = watcher.hidden()
    answers = watcher.answers(now, SECONDS)
    head = f"press and release, and look what answers ({bits} bits of {ids} ids move by themselves and are hidden)"
    rows = [_row(one, now, columns) for one in answers[:MOST_ROWS]]
    more = [f"and {len(answers) - MOST_ROWS} more"] if len(answers) > MOST_ROWS else []
    return [head[: columns - 1], *(rows or ["nothing answers"]), *more]


def _row(answer: Answer, now: float, columns: int) -> str:
    from ..finding.found import bits_text
    from ..finding.watching import strip

    name = f"{answer.place} {bits_text(answer.bits)}"
    value = f"{answer.before} -> {answer.changes[-1][1]}"
    width = min(MOST_STRIP, max(LEAST_STRIP, columns - 54))
    return f"{name:34.34} {strip(answer, now, SECONDS, width)} {value}"


def _last(watcher: Watcher) -> str:
    if not watcher.frames:
        return "nothing was heard: the car is asleep, the bus is silent behind a gateway, or a pin is wrong"
    bits, ids = watcher.hidden()
    return (
        f"{watcher.frames} frames; {bits} bits of {ids} ids move by themselves. Next: underdash record TRACE while you "
        "press five times, then underdash find pressed TRACE"
    )
