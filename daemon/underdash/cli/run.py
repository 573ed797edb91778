"""``underdash run``: the daemon up to its first page, with few imports, since each delays it; then see `running.py`."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Callable

from ..contract.errors import GivenError, UnderdashError
from .common import add_config, config


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
    read = config(arguments)
    if arguments.attended:
        confirm(input)
    from ..wiring.first_page import FirstPage

    first = FirstPage(read)
    with contextlib.closing(first):
        first.show()
        from .running import serve  # takes longer than all before it, and now somebody sees that it starts

        serve(read, first, attended=arguments.attended)
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
