"""``underdash find ignition``: which field tells the position of the ignition."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..contract.errors import GivenError
from .accepting import add_accept, finish
from .common import add_config
from .find import LIKELY, add_trace, heard, picture, tell
from .find_led import cut_short
from .find_marks import add_marks, marks, to_draw

if TYPE_CHECKING:
    from ..finding.found import Answer, Candidate
    from ..finding.heard import Heard
    from ..finding.marks import Mark

SIGNAL = "vehicle.ignition"
FOUND_BY = "find ignition"


def add(parser: argparse.ArgumentParser) -> None:
    """Add this question's arguments."""
    parser.epilog = (
        "Record while you go through LOCK, OFF, ACC, ON, START, running, ON with the engine stopped, and OFF, resting "
        "a few seconds in each, and go on until the buses sleep; mark each with its word, and doors, key and alarm "
        "with theirs. With the car standing, in the open or well aired."
    )
    add_trace(parser)
    add_marks(parser)
    parser.add_argument(
        "--live", action="store_true", help="record TRACE first: say what to do when, until all is done"
    )
    add_config(parser)
    add_accept(parser)


def run(arguments: argparse.Namespace) -> int:
    """Answer the question; returns the exit status."""
    stopped = False
    if arguments.live:
        from .find_ignition_led import record_led

        stopped = record_led(arguments)
    with cut_short(stopped, arguments.trace):
        found = heard(arguments)
        given = marks(arguments, found)
        answer = _answer(found, given, by_file=arguments.marks is not None)
    status = tell([answer], as_json=arguments.json)
    if not arguments.json and answer.best is not None and answer.best.confidence >= LIKELY:
        print("\n".join(["in a description it reads (or --into F.toml):", "", *described(answer.best, found)]))
    picture(arguments, found, [answer], to_draw(given))
    arguments.signal = arguments.signal or SIGNAL
    finish(arguments, found, [answer], FOUND_BY)
    return status


def _answer(heard: Heard, given: Sequence[Mark], *, by_file: bool) -> Answer:
    from ..finding.ignition.order import ignition_by_order
    from ..finding.ignition.positions import is_position
    from ..finding.ignition.search import ignition
    from ..finding.marks import listed, marks_of

    if any(is_position(mark.word) for mark in given):
        return ignition(heard, marks_of(given, heard))
    if by_file:
        words = listed(dict.fromkeys(mark.word for mark in given))
        raise GivenError(f"no mark says LOCK, OFF, ACC, ON or START; they say {words}")
    return ignition_by_order(heard)


def described(candidate: Candidate, heard: Heard) -> list[str]:
    """Return the lines with which a description reads the ignition where it was found."""
    from ..config.spelling import listener_table
    from ..config.writing import block
    from ..finding.describing import addition
    from ..signals.catalogue import CATALOGUE

    made = addition(candidate, heard, CATALOGUE.signal(SIGNAL), FOUND_BY)
    lines = block("[[broadcast]]", listener_table(made.listener, said=made.said))
    return [*lines, "", *block("[[ignition]]", made.ignition or {})]
