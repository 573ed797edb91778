"""``underdash why SIGNAL``: the chain from the page down to the bus, with the broken link and its remedy."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from .common import add_config, config

if TYPE_CHECKING:
    from ..config.schema import Config
    from ..wiring.chain import Chain


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("signal", metavar="SIGNAL", help="such as engine.oil_temperature; underdash status lists them")
    add_config(parser)


def run(arguments: argparse.Namespace) -> int:
    """Ask the daemon; without one say what the files tell. 0 if there is a value, 2 if there is no such signal."""
    from ..service.client import Client, NoDaemonError
    from ..wiring.chain import THERE, Cause
    from ..wiring.control import socket_paths

    try:
        with Client.connect(socket_paths()) as client:
            table = client.ask("why", {"signal": arguments.signal})
        chain, past = _read(table), [str(one) for one in table.get("past", ())]
    except NoDaemonError as exc:
        print(f"{exc}; this is what configuration and description say", file=sys.stderr)
        chain, past = _from_files(config(arguments), arguments.signal), []
    print("\n".join([*chain.lines(), *past]))
    if chain.fault.cause is Cause.UNKNOWN:
        return 2
    return 0 if chain.fault.cause in THERE else 1


def _read(table: dict[str, object]) -> Chain:
    from ..contract.errors import UnderdashError
    from ..wiring.chain import Chain

    try:
        return Chain.of(table)
    except (KeyError, TypeError, ValueError) as exc:
        raise UnderdashError("the daemon is of another version than this command; restart it") from exc


def _from_files(read: Config, signal: str) -> Chain:
    from ..bus.vetting import MakerEvidence
    from ..wiring.building import assembled
    from ..wiring.gathering import Deck, Gatherer
    from ..wiring.sending import make_guard

    assembly = assembled(read)
    guard = make_guard(assembly, evidence=MakerEvidence(read.reading_bytes, assembly.car.exchanges))
    guard.recorded = read.recorded
    brought = {page.name: page for page in assembly.pages}
    decks = [
        Deck(name, tuple(brought[page] for page in panel.deck if page in brought)) for name, panel in read.panel.items()
    ]
    transmit = {role for role, bus in read.bus.items() if bus.transmit}
    return Gatherer(assembly, guard, set(read.bus), transmit, lambda: decks, live=False).why(signal, 0.0)
