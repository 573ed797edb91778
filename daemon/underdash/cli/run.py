"""``underdash run``: the daemon up to its first page, with few imports, since each delays it; then see `running.py`.

What the configuration says of panels is made first, and shown on. A mistake in it shows nothing, and is told with all
others once the whole of it is read.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import os
import signal
import sys
from collections.abc import Callable, Iterator
from types import FrameType
from typing import TYPE_CHECKING

from ..contract.errors import GivenError, UnderdashError
from .common import add_config, config_file

if TYPE_CHECKING:
    from ..wiring.first_page import FirstPage


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_config(parser)
    parser.add_argument(
        "--attended",
        action="store_true",
        help="you sit in the standing car and vouch that the ignition is on; asked at the keyboard, for ten minutes",
    )


@contextlib.contextmanager
def _uncollected() -> Iterator[None]:
    """Leave garbage alone until the daemon runs: what is imported stays, and looking it through takes a while."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


@contextlib.contextmanager
def _dark_at_the_end(first: FirstPage) -> Iterator[None]:
    """Put the panels out where the end is asked for before the daemon listens for that."""

    def end(number: int, frame: FrameType | None) -> None:
        first.close()
        signal.signal(number, signal.SIG_DFL)
        os.kill(os.getpid(), number)

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@_uncollected()
def run(arguments: argparse.Namespace) -> int:
    """Run until SIGTERM, SIGINT or the end of the supply."""
    from ..config.mistakes import ConfigError
    from ..config.panels import panels_of
    from ..config.toml import read_toml
    from ..wiring.first_page import FirstPage

    table, source = read_toml(config_file(arguments))
    with contextlib.closing(FirstPage()) as first, _dark_at_the_end(first):
        with contextlib.suppress(ConfigError):
            first.show(panels_of(table, source))
        from ..config.reading import make_config  # from here on somebody sees that it starts

        config = make_config(table, source)
        if arguments.attended:
            confirm(input)
        from .life import life

        with life(config.plugins.enabled) as begun:
            first.show_brought(config, begun.past.left_out)
            from .running import serve  # takes longer than all before it

            serve(config, first, begun, attended=arguments.attended)
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
