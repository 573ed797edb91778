"""``underdash find pressed``: which bits and small fields answer to marks."""

from __future__ import annotations

import argparse

from .accepting import add_accept, finish
from .common import add_config, seconds
from .find import add_trace, heard, picture, tell
from .find_led import cut_short, record_led
from .find_marks import add_marks, marks, to_draw


def add(parser: argparse.ArgumentParser) -> None:
    """Add this question's arguments."""
    add_trace(parser)
    add_marks(parser)
    parser.add_argument("--word", action="append", default=[], metavar="W", help="only marks of this word; repeatable")
    parser.add_argument(
        "--live", action="store_true", help="record TRACE first: say what to do when, until it is enough"
    )
    parser.add_argument("--quiet", type=seconds, default=60.0, metavar="S", help="with --live: quiet seconds at first")
    add_config(parser)
    add_accept(parser)


def run(arguments: argparse.Namespace) -> int:
    """Say for each word what answers to its marks."""
    from ..finding.marks import beside, marks_of
    from ..finding.pressed.search import pressed

    stopped = False
    if arguments.live:
        arguments.word, stopped = record_led(arguments)
    with cut_short(stopped, arguments.trace):
        found = heard(arguments)
        every = marks(arguments, found)
        chosen = marks_of(every, found, arguments.word)
        answers = pressed(found, beside(every, found, chosen), chosen)
    status = tell(answers, as_json=arguments.json)
    picture(arguments, found, answers, to_draw([mark for some in chosen.values() for mark in some]))
    words = " ".join(answer.question for answer in answers)
    finish(arguments, found, answers, f"find pressed {words}")
    return status
