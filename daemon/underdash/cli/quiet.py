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
        quiet = client.ask("quiet", {"on": arguments.wanted == "on"}).get("quiet")
    print(
        "quiet: nothing is sent until underdash quiet off, or a restart of the daemon"
        if quiet
        else "not quiet: requests go out again as soon as the guard lets them"
    )
    return 0
