"""``underdash demo``: the daemon on a simulated car."""

from __future__ import annotations

import argparse
import contextlib
import json
import logging
import os
import signal
import sys
import time
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import UnderdashError
from ..simulator.trouble import names
from .common import positive, put_in_place, uninterrupted, whole

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from ..wiring.demo import Demo

REFRESH_S = 0.25
LINE_EVERY_S = 60.0


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--car", default="tarn", metavar="tarn|loris", help="which invented car (default %(default)s)")
    parser.add_argument("--seconds", type=positive, metavar="N", help="stop after N seconds of the drive")
    parser.add_argument(
        "--speed",
        type=_speed,
        default=20.0,
        metavar="X",
        help='seconds of the drive per second, or "max" (default %(default)g)',
    )
    parser.add_argument("--seed", type=whole, default=1, metavar="N", help="another drive (default %(default)s)")
    parser.add_argument("--pictures", metavar="DIR", help="keep pictures of the pages at telling moments there")
    parser.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="[WHO.]NAME[@SECONDS]",
        help=f"have it go wrong, such as gearbox.silent@120 or drive.unplugged; may be given several times, and what "
        f"the pages lack then is told. Faults {names()}",
    )
    parser.add_argument("--report", metavar="F.json", help="write counts and final values there")


def run(arguments: argparse.Namespace) -> int:
    """Drive, show how it goes, and say what it came to."""
    from ..pace import paced_loop
    from ..wiring.demo import Demo, save_into
    from .logs import set_up

    set_up(logging.WARNING)
    pictures = save_into(Path(arguments.pictures)) if arguments.pictures else None
    _check_report(arguments.report)
    with uninterrupted():
        loop = paced_loop(arguments.speed)
    begun = time.monotonic()
    try:
        demo = Demo(arguments.car, loop, seed=arguments.seed, pictures=pictures, faults=arguments.fault)
        for sentence in demo.built.assembly.problems:
            print(sentence, file=sys.stderr)
        early: list[BaseException] = []

        def end(why: BaseException) -> None:
            early.append(why)
            loop.stop()

        loop.add_signal_handler(signal.SIGTERM, loop.stop)
        loop.add_signal_handler(signal.SIGINT, end, KeyboardInterrupt())
        with _shown(demo, end):
            demo.run(arguments.seconds)
        if early:
            raise early[0]
        _finish(demo, arguments, time.monotonic() - begun)
    finally:
        loop.close()
    return 0


def _speed(text: str) -> float:
    return inf if text == "max" else positive(text)


def _check_report(report: str | None) -> None:
    """Find out before the drive whether the report can be written after it."""
    if report is None:
        return
    path = Path(report)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_dir() or not os.access(path.parent, os.W_OK):
            raise UnderdashError(f"--report {path} cannot be written; name another place")
    except OSError as exc:
        raise UnderdashError(f"--report {path} cannot be written: {exc.strerror}; name another place") from exc


@contextlib.contextmanager
def _shown(demo: Demo, end: Callable[[BaseException], None]) -> Iterator[None]:
    """Show the drive while it goes on: a view that is renewed in a terminal, a line a minute elsewhere."""
    screen = _Screen(demo) if sys.stdout is not None and sys.stdout.isatty() else None
    last = 0.0

    def observe(now: float, snapshot: object) -> None:
        nonlocal last
        try:
            if screen is not None:
                screen.renew()
            elif demo.seconds - last >= LINE_EVERY_S:
                from .view import one_line

                last = demo.seconds
                print(one_line(demo.daemon.status(), demo.phase, demo.seconds), flush=True)
        except OSError as exc:  # nobody looks any more
            end(exc)

    demo.daemon.observers.append(observe)
    try:
        yield
    finally:
        if screen is not None:
            screen.end()


class _Screen:
    """The view in a terminal, renewed in place a few times a second of the clock on the wall."""

    def __init__(self, demo: Demo) -> None:
        self._demo = demo
        self._at = -inf
        self._lines = 0

    def renew(self) -> None:
        if time.monotonic() - self._at < REFRESH_S:
            return
        self._at = time.monotonic()
        self._write()

    def end(self) -> None:
        self._write()

    def _write(self) -> None:
        from .view import view

        demo = self._demo
        title = f"{demo.built.assembly.car.title}: {demo.phase}"
        height = os.get_terminal_size().lines - 1
        lines = view(demo.daemon.status(), title, demo.seconds)[:height]
        back = f"\x1b[{self._lines}F" if self._lines else ""
        sys.stdout.write(back + "".join(f"{line}\x1b[K\n" for line in lines) + "\x1b[J")
        sys.stdout.flush()
        self._lines = len(lines)


def _finish(demo: Demo, arguments: argparse.Namespace, wall_s: float) -> None:
    from ..wiring.report import report
    from .view import clock

    told = report(demo, wall_s)
    if arguments.report:
        with put_in_place(Path(arguments.report), "--report") as part:
            part.write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    frames = sum(bus["frames"] for bus in told["buses"].values())
    print(
        f"{demo.built.assembly.car.title}: {demo.seconds:.0f} s driven in {wall_s:.1f} s, {frames} frames heard, "
        f"{told['asking']['sent']} requests sent, {told['asking']['answered']} values answered"
    )
    for one, chains in demo.breaking.told:
        at = clock(one.at_s)
        print(f"{at} {one}:" + ("" if chains else " every value on the pages was there"))
        for chain in chains:
            print(f"  {chain.signal}: {chain.sentence}")
    for label, place in (("pictures", arguments.pictures), ("report", arguments.report)):
        if place:
            print(f"{label}: {place}")
