"""``underdash ask``: one read request by hand, a gentle scan over identifiers, or who is there at all."""

from __future__ import annotations

import argparse
import contextlib
import logging
import sys
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from ..contract.errors import GivenError, UnderdashError
from .common import add_config, told_to_stop

if TYPE_CHECKING:
    from threading import Event

    from .ask_ways import Way

CAUTION = "The car has to stand, parking brake on, ignition ON. Reading only, at most two requests a second."
HEARD = ("answered", "late")


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("what", nargs="?", metavar="WHAT", help="a control unit, or a signal that is asked for")
    parser.add_argument(
        "identifiers", nargs="?", metavar="ID", help="with a unit: 21C7, or a range 2100-21FF to be asked one by one"
    )
    parser.add_argument("--protocol", metavar="P", help="where the unit speaks several, such as identifier_22")
    parser.add_argument("--results", metavar="F", help="where a scan keeps its results, and goes on from")
    parser.add_argument("--discover", metavar="BUS", help="ask each id of ISO 15765-4 on this bus once who is there")
    parser.add_argument(
        "--attended",
        action="store_true",
        help="you sit in the standing car and vouch that the ignition is on; asked at the keyboard, for ten minutes",
    )
    parser.add_argument("--demo", metavar="tarn|loris", help="ask an invented, simulated car instead of yours")
    add_config(parser)


def run(arguments: argparse.Namespace) -> int:
    """Ask, and say what came of it."""
    from .ask_scan import discover, scan
    from .logs import set_up

    wanted = _wanted(arguments)
    set_up(logging.ERROR)
    with told_to_stop() as stop, _way(arguments, stop) as way:
        print(CAUTION, file=sys.stderr)
        if arguments.discover:
            return discover(way, arguments.discover, stop)
        if isinstance(wanted, range) and len(wanted) > 1:
            return scan(way, _query(arguments), wanted, arguments.results, stop)
        query = _query(arguments)
        if wanted is not None:
            query["identifier"] = wanted[0]
        return _once(way, query)


def _wanted(arguments: argparse.Namespace) -> range | None:
    """Check what was given before anything is opened; returns the identifiers."""
    from ..diagnostics.scan import identifiers

    if arguments.discover and (arguments.what or arguments.protocol or arguments.results):
        raise GivenError("--discover goes by itself: it asks each standard id once, in the one way all units know")
    if not arguments.discover and not arguments.what:
        raise GivenError("say what to ask: a control unit and an identifier, or a signal; see `underdash ask --help`")
    if arguments.demo and arguments.attended:
        raise GivenError("--attended is for a real car; the simulated one says itself that its ignition is on")
    wanted = None if arguments.identifiers is None else identifiers(arguments.identifiers)
    if arguments.results and (wanted is None or len(wanted) < 2):
        raise GivenError("--results is for a range of identifiers; one answer is printed")
    if arguments.protocol and wanted is None:
        raise GivenError("--protocol is for an identifier; what is found by its name is asked as it is described")
    return wanted


def _query(arguments: argparse.Namespace) -> dict[str, Any]:
    return {"what": arguments.what} | ({"protocol": arguments.protocol} if arguments.protocol else {})


@contextlib.contextmanager
def _way(arguments: argparse.Namespace, stop: Event) -> Iterator[Way]:
    """Ask through the running daemon, or have the buses opened here."""
    from ..service.client import Client, NoDaemonError
    from ..wiring.control import socket_paths
    from .ask_ways import Through, by_itself, simulated
    from .run import confirm

    if arguments.demo:
        with simulated(arguments.demo, stop) as way:
            yield way
        return
    try:
        client = Client.connect(socket_paths())
    except NoDaemonError:
        with by_itself(arguments, stop) as way:
            yield way
        return
    with client:
        if arguments.attended:
            confirm(input)
            told = client.ask("attended", {"standing": True})
            print(f"{told['ignition']}; your word counts for {told['seconds'] / 60:.0f} minutes", file=sys.stderr)
        print("the running daemon owns the buses and asks; its own polling pauses meanwhile", file=sys.stderr)
        yield Through(client, stop)


def _once(way: Way, query: Mapping[str, Any]) -> int:
    """Ask once and print the answer."""
    came = way.ask(query)
    name, kind = came["name"], came["kind"]
    if kind not in HEARD:
        lead = {"held": "was not sent now: ", "left_out": "is never sent: "}.get(kind, "")
        raise UnderdashError(f"{name} {lead}{came['sentence']}" if lead else f"{name}: {came['sentence']}")
    print(f"{name}: {came['sentence']}")
    data = bytes.fromhex(came["data"])
    print(f"  {len(data)} byte{'s' if len(data) != 1 else ''}  {data.hex(' ').upper()}")
    for signal, reading in came["values"].items():
        print(f"  {signal}  {reading['shown']} {reading['unit']}".rstrip())
    return 0
