"""``underdash run``: the daemon."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import datetime
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from ..contract.errors import GivenError, UnderdashError
from .common import add_config, config, uninterrupted

if TYPE_CHECKING:
    from ..bus.link import Link
    from ..bus.trace import TraceWriter
    from ..config.schema import Config
    from ..wiring.building import Built
    from ..wiring.recorder import Recorder


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_config(parser)
    parser.add_argument(
        "--attended",
        action="store_true",
        help="you sit in the standing car and vouch that the ignition is on; asked at the keyboard, for ten minutes",
    )


def run(arguments: argparse.Namespace) -> int:
    """Run until SIGTERM, SIGINT or the end of the supply."""
    from .logs import set_up

    set_up()
    read = config(arguments)
    if arguments.attended:
        confirm(input)
    with uninterrupted():
        loop = asyncio.SelectorEventLoop()
    try:
        _run(read, loop, arguments.attended)
    finally:
        loop.close()
    return 0


def confirm(ask: Callable[[str], str]) -> None:
    """Have a person at the keyboard say that the car stands and the ignition is on.

    Raises:
        UnderdashError: they did not.
    """
    if not sys.stdin.isatty():
        raise GivenError("--attended asks a person at the keyboard, and there is none; start it from a terminal")
    answer = ask("The car stands, the parking brake is on, and the ignition is ON. Type 'standing' if that is so: ")
    if answer.strip().lower() != "standing":
        raise UnderdashError("not confirmed; nothing was started")


def _run(config: Config, loop: asyncio.AbstractEventLoop, attended: bool) -> None:
    from ..wiring.building import build

    recorders: list[Recorder] = []
    built = build(
        config,
        loop,
        recorder=lambda links: _recorder(config, links, recorders),
        power_off=power_off,
        told=_told,
        attended=attended,
    )
    with contextlib.ExitStack() as ending:  # each in its turn, whatever the one before it did
        for recorder in recorders:
            ending.callback(recorder.close)
        ending.callback(built.release)
        ending.callback(built.keep)
        ending.callback(built.daemon.stop)
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, loop.stop)
        _open_socket(built, loop, ending)
        _start(built)
        loop.run_forever()


def _open_socket(built: Built, loop: asyncio.AbstractEventLoop, ending: contextlib.ExitStack) -> None:
    """Let other commands ask this daemon."""
    import structlog

    from ..service.control import ControlError, RunsAlreadyError
    from ..wiring.control import Desk

    desk = Desk(built.daemon, loop)
    control = desk.control()
    try:
        control.open()
    except RunsAlreadyError:
        raise
    except ControlError as exc:  # a gauge that cannot be asked is better than none
        structlog.get_logger().warning("no_socket", error=str(exc))
        return
    ending.callback(control.close)
    ending.callback(desk.close)


def _start(built: Built) -> None:
    import structlog

    from ..service.notify import notify

    log = structlog.get_logger()
    for problem in built.assembly.problems:
        log.warning("problem", text=problem)
    for refused in built.assembly.loaded.refused:
        log.warning("plugin_refused", plugin=refused.name, reason=refused.reason, hint=refused.hint)
    for plugin in built.assembly.loaded.plugins:
        log.info("plugin", name=plugin.name, version=plugin.version)
    built.daemon.start()
    notify("READY=1", f"STATUS=car {built.assembly.car.name}")
    log.info("started", car=built.assembly.car.name, buses=",".join(built.daemon.links))


def _recorder(config: Config, links: Mapping[str, Link], made: list[Recorder]) -> Recorder | None:
    if not config.recording.traces:
        return None
    from ..wiring.recorder import Recorder, file_bytes, new_trace

    folder, share_mb = config.path.parent / config.recording.folder, config.recording.share_mb

    def following() -> TraceWriter:
        return new_trace(folder, share_mb, datetime.datetime.now(datetime.UTC))

    made.append(Recorder(following(), links, following, file_bytes(share_mb)))
    return made[0]


def _told(sentence: str) -> None:
    import structlog

    structlog.get_logger().info("asking", text=sentence)


def power_off(reboot: bool, environment: Mapping[str, str] = os.environ) -> None:
    """Switch the machine off or restart it; only as a service, never from somebody's terminal."""
    import structlog

    log = structlog.get_logger()
    verb = "reboot" if reboot else "poweroff"
    if "INVOCATION_ID" not in environment:
        log.warning("power_off_left_out", verb=verb, why="not run as a service")
        return
    done = subprocess.run(["systemctl", verb, "--no-block"], capture_output=True, text=True, check=False, timeout=10)
    if done.returncode:
        log.error("power_off_failed", verb=verb, error=done.stderr.strip(), next="see systemd/README.md for the rights")
