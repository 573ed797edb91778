"""``underdash record``: write what the buses carry to a trace, listening only."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import datetime
import signal
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from .common import add_config, next_step, positive, uninterrupted, whole
from .marking import marking

if TYPE_CHECKING:
    from ..bus.link import Link
    from ..wiring.recorder import Recorder

OPENS_S = 0.5


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("out", metavar="TRACE", help="the file to write; it must not exist yet")
    add_config(parser)
    parser.add_argument("--seconds", type=positive, metavar="N", help="stop by itself; else with Ctrl-C")
    parser.add_argument(
        "--practice",
        metavar="LESSON",
        help="record a lesson on an invented car instead, to practise finding: ignition, a button such as menu, knob, "
        "drive, or tester",
    )
    parser.add_argument("--car", default="tarn", metavar="tarn|loris", help="which invented car (default %(default)s)")
    parser.add_argument("--seed", type=whole, default=1, metavar="N", help="another recording of it")


def run(arguments: argparse.Namespace) -> int:
    """Record until the time is over or a person stops it; nothing is ever sent."""
    if arguments.practice is not None:
        from .record_practice import practise

        return practise(arguments)
    return tell(record(Path(arguments.out), arguments), arguments.out)


def record(out: Path, arguments: argparse.Namespace) -> Outcome:
    """Record into a new file: through the daemon where one runs, else by itself.

    Args:
        out: the trace.
        arguments: with `seconds`, and ``--config`` (`common.add_config`).
    """
    from ..service.client import Client, NoDaemonError
    from ..wiring.control import socket_paths
    from .record_through import record_through

    try:
        client = Client.connect(socket_paths())
    except NoDaemonError:
        return _by_itself(out, arguments)
    with client:
        return record_through(client, out, arguments.seconds)


def _by_itself(out: Path, arguments: argparse.Namespace) -> Outcome:
    from .by_itself import buses

    with buses(arguments) as links:
        with uninterrupted():
            loop = asyncio.SelectorEventLoop()
        with contextlib.closing(loop):
            recorder, absent = _record(out, links, loop, arguments.seconds)
    return Outcome(recorder.frames, recorder.dropped, recorder.failure, absent)


def _record(
    path: Path, links: dict[str, Link], loop: asyncio.AbstractEventLoop, seconds: float | None
) -> tuple[Recorder, bool]:
    """Record; returns the recorder, and whether no bus was open when it ended."""
    from ..bus.health import BusState
    from ..bus.trace import TraceWriter
    from ..wiring.recorder import Recorder, about

    recorder = Recorder(TraceWriter(path, about(datetime.datetime.now(datetime.UTC))), links)
    try:
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, loop.stop)
        for link in links.values():
            link.start(loop, loop.time())
        _tick(links, loop, recorder, loop.time())
        if seconds is not None:
            loop.call_later(seconds, loop.stop)
        begun = loop.time()
        with marking(lambda word: recorder.mark(word, loop.time())):
            loop.run_forever()
        # one that was stopped before a bus could open proves nothing about the buses
        tried = seconds is not None or loop.time() - begun >= OPENS_S
        absent = tried and all(link.state is BusState.ABSENT for link in links.values())
    finally:
        for link in links.values():
            link.close()
        recorder.close()
    return recorder, absent


def _tick(links: dict[str, Link], loop: asyncio.AbstractEventLoop, recorder: Recorder, said_at: float) -> None:
    """Look after the links, and say every second how it goes."""
    now = loop.time()
    for link in links.values():
        link.tick(now)
    if now - said_at >= 1.0:
        said_at = now
        states = ", ".join(f"{role} {link.status(now).state.value}" for role, link in links.items())
        print(f"{recorder.frames} frames; {states}", file=sys.stderr)
    if recorder.failure:
        loop.stop()
        return
    loop.call_later(0.1, _tick, links, loop, recorder, said_at)


@dataclass(frozen=True)
class Outcome:
    """What a recording came to; `absent`: no bus was open when it ended; `stopped`: a person ended it."""

    frames: int
    dropped: int
    failure: str
    absent: bool
    stopped: bool = False


def tell(outcome: Outcome, out: str, then: str = "") -> int:
    """Say what a recording came to, and what comes next; returns the exit status."""
    print(f"{outcome.frames} frames in {out}", file=sys.stderr)
    if outcome.dropped:
        print(f"{outcome.dropped} frames are missing: the disk did not keep up", file=sys.stderr)
    if outcome.failure:
        print(f"underdash: {outcome.failure}; what was written before is kept", file=sys.stderr)
        return 1
    if outcome.absent and not outcome.frames:
        print("underdash: no bus could be opened, so nothing was recorded; look above for why", file=sys.stderr)
        return 1
    if not outcome.frames:
        print(
            "nothing was heard: the car is asleep, the bus is silent behind a gateway, or a pin is wrong",
            file=sys.stderr,
        )
    else:
        print(then or next_step(out), file=sys.stderr)
    return 0
