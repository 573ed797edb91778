"""``--live`` of the questions that lead nobody: the trace that is searched is recorded first."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..contract.errors import GivenError
from .common import CONFIG, add_config, positive


def add_live(parser: argparse.ArgumentParser, *, config: bool = True) -> None:
    """Add the option; `config`: ``--config`` is wanted too, since the question has none of its own."""
    parser.add_argument(
        "--live",
        action="store_true",
        dest="recorded",
        help="record TRACE first, listening only, until Ctrl-C; what is typed meanwhile becomes a mark",
    )
    parser.add_argument("--seconds", type=positive, metavar="N", help="with --live: stop recording after so long")
    if config:
        add_config(parser)


def recorded(arguments: argparse.Namespace) -> bool:
    """Record if that is wanted; returns whether there is something to search.

    Raises:
        GivenError: an option goes with recording only, or the trace is there already.
        UnderdashError: nothing can be recorded.
    """
    from .record import record, tell

    if not arguments.recorded:
        if arguments.seconds is not None:
            raise GivenError("--seconds goes with --live; of a recording all is searched")
        return True
    wanted = argparse.Namespace(seconds=arguments.seconds, config=arguments.config or CONFIG)
    outcome = record(Path(arguments.trace), wanted)
    if not outcome.frames:  # so that the same name can be said again
        Path(arguments.trace).unlink(missing_ok=True)
    return tell(outcome, arguments.trace, then="now it is searched") == 0 and outcome.frames > 0
