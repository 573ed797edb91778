"""``underdash quiet on|off``: no sending until it is released; the panel says so."""

from __future__ import annotations

import argparse


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("wanted", choices=("on", "off"), metavar="on|off", help="on: nothing is sent from now on")


def run(arguments: argparse.Namespace) -> int:
    """Tell the daemon, and say what holds now."""
    from ..service.client import Client
    from ..wiring.control import socket_paths

    with Client.connect(socket_paths()) as client:
        told = client.ask("quiet", {"on": arguments.wanted == "on"})
    print(_said(bool(told.get("quiet")), kept=bool(told.get("kept"))))
    return 0


def _said(quiet: bool, *, kept: bool) -> str:
    if not quiet:
        return "not quiet: requests go out again as soon as the guard lets them"
    if kept:
        return "quiet: nothing is sent until underdash quiet off, after a restart too"
    return "quiet: nothing is sent until underdash quiet off; this could not be kept, so a restart ends it too"
