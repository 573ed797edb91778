"""``underdash listen``: a few silent seconds on each bus, then in sentences what is there and what to do next."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import logging
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..contract.errors import GivenError, UnderdashError
from .common import add_config, config, next_step, positive, uninterrupted

if TYPE_CHECKING:
    from ..bus.hearing import Hearing
    from ..bus.link import BusStatus, Link

SECONDS = 10.0
TICK_S = 0.05


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_config(parser)
    parser.add_argument("--trace", metavar="F", help="tell from a recorded trace instead")
    parser.add_argument("--seconds", type=positive, metavar="N", help=f"how long (default {SECONDS:g})")
    parser.add_argument(
        "--rates", action="store_true", help="where nothing is understood, try the usual bit rates, listening only"
    )


def run(arguments: argparse.Namespace) -> int:
    """Listen and tell; nothing is ever sent. 1 where nothing was understood on any bus."""
    from ..service.client import Client, NoDaemonError
    from ..wiring.control import socket_paths

    if arguments.trace is not None:
        for option in ("seconds", "rates"):
            if getattr(arguments, option):
                raise GivenError(f"--{option} goes with a car; with --trace all of the recording is told, leave it out")
        return _to_trace(Path(arguments.trace))
    arguments.seconds = arguments.seconds or SECONDS
    try:
        client = Client.connect(socket_paths())
    except NoDaemonError:
        return _by_itself(arguments)
    with client:
        if arguments.rates:
            raise GivenError("the daemon owns the buses, so their rates cannot be tried; stop it first, then try again")
        return _through(client, arguments.seconds)


def _by_itself(arguments: argparse.Namespace) -> int:
    from ..bus.hearing import Hearing
    from .by_itself import buses
    from .listen_rates import try_rates

    # what becomes of a bus is told at the end, so that only errors are said before
    with buses(arguments, logging.ERROR) as links:
        heard = {role: Hearing() for role in links}
        for role, link in links.items():
            link.add_tap(heard[role].take)
        with uninterrupted():
            loop = asyncio.SelectorEventLoop()
        try:
            states = loop.run_until_complete(_listen(links, arguments.seconds))
            tell(states, heard, arguments.seconds)
            deaf = [role for role in links if not heard[role].frames]
            if arguments.rates and deaf:
                loop.run_until_complete(try_rates(config(arguments), deaf))
        finally:
            for link in links.values():
                link.close()
            loop.close()
    return 0 if any(one.frames for one in heard.values()) else 1


async def _listen(links: Mapping[str, Link], seconds: float) -> list[BusStatus]:
    """Let the links hear for so long; returns how the buses were at the end."""
    loop = asyncio.get_running_loop()
    begun = loop.time()
    for link in links.values():
        link.start(loop, begun)
    said = 0
    while (now := loop.time()) < begun + seconds:
        for link in links.values():
            link.tick(now)
        if int(now - begun) > said:
            said = int(now - begun)
            print(f"listening: {said} of {seconds:.0f} s", file=sys.stderr)
        await asyncio.sleep(TICK_S)
    return [link.status(now) for link in links.values()]


def tell(states: list[BusStatus], heard: Mapping[str, Hearing], seconds: float) -> None:
    """Print what was heard on each bus."""
    for status in states:
        setup = status.controller
        bitrate = None if setup is None else setup.bitrate
        closed = status.sentence if status.state == "absent" else ""
        _print(status.role, _part(status.silent, status.virtual, bitrate), status.warning, closed)
        if not closed:
            _sentences(heard[status.role], seconds, bitrate)


def _through(client: Any, seconds: float) -> int:
    """Have the running daemon record for so long, and tell from that."""
    from ..bus.hearing import Hearing
    from .record_through import record_through

    with tempfile.TemporaryDirectory(prefix="underdash-") as folder:
        trace = Path(folder) / "heard.log"
        outcome = record_through(client, trace, seconds, marks=False)
        if outcome.stopped:
            raise KeyboardInterrupt
        if outcome.failure:
            raise UnderdashError(outcome.failure)
        heard = _heard(trace)
    for bus in client.ask("status")["buses"]:
        setup = bus["controller"]
        bitrate = None if setup is None else setup["bitrate"]
        closed = bus["sentence"] if bus["state"] == "absent" else ""
        _print(bus["role"], _part(bus["silent"], bus["virtual"], bitrate), bus["warning"], closed)
        if not closed:
            _sentences(heard.get(bus["role"], Hearing()), seconds, bitrate)
    return 0 if any(one.frames for one in heard.values()) else 1


def _to_trace(path: Path) -> int:
    heard = _heard(path)
    if not heard:
        raise GivenError(f"{path}: no frame in it; record one with underdash record")
    for channel, one in heard.items():
        print(f"{channel}:")
        _sentences(one, one.seconds, None, live=False)
    if not any(one.frames for one in heard.values()):
        return 1
    print(next_step(path))
    return 0


def _heard(path: Path) -> dict[str, Hearing]:
    from ..bus.hearing import Hearing
    from ..bus.trace import read_trace
    from ..bus.trace_lacks import lacks

    heard: dict[str, Hearing] = {}
    with contextlib.closing(read_trace(path)) as trace:
        for channel, frame in trace:
            heard.setdefault(channel, Hearing()).take(frame)
    for sentence in lacks(trace):
        print(sentence, file=sys.stderr)
    return heard


def _part(silent: bool | None, virtual: bool, bitrate: int | None) -> str:
    if virtual:
        return "no wire, so no rate to prove"
    at = f" at {bitrate} bit/s" if bitrate else ""
    return {
        True: f"its interface listens only{at}, as Linux says, so it disturbs nothing",
        False: f"its interface takes part in the bus{at}: it acknowledges what it hears",
        None: f"this adapter cannot say whether it only listens{at}",
    }[silent]


def _print(role: str, part: str, warning: str, closed: str) -> None:
    print(f"{role}: {closed.removeprefix(f'{role} ') if closed else part}")
    if warning:
        print(f"  careful: {warning.removeprefix(f'{role}: ')}")


def _sentences(heard: Hearing, seconds: float, bitrate: int | None, *, live: bool = True) -> None:
    from ..bus.hearing import told

    for line in told(heard, seconds, bitrate, live=live):
        print(f"  {line}")
