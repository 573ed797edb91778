"""``underdash find pressed``: which bits and small fields answer to marks."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import GivenError
from .find import add_trace, heard, picture, tell

if TYPE_CHECKING:
    from ..finding.heard import Heard
    from ..finding.marks import Mark


def add(parser: argparse.ArgumentParser) -> None:
    """Add this question's arguments."""
    add_trace(parser)
    parser.add_argument(
        "--marks", metavar="F", help="when what was done, one a line: SECONDS WORD or FROM..UNTIL WORD, with + before "
        "a number to count from the first frame; without it, the marks in the trace are taken",
    )  # fmt: skip
    parser.add_argument("--word", action="append", default=[], metavar="W", help="only marks of this word; repeatable")


def run(arguments: argparse.Namespace) -> int:
    """Say for each word what answers to its marks."""
    from ..finding.marks import marks_of
    from ..finding.pressed import pressed

    trace = heard(arguments)
    chosen = marks_of(_marks(arguments.marks, trace), trace, arguments.word)
    answers = pressed(trace, chosen)
    drawn = [(mark.begin, mark.last, mark.word) for marks in chosen.values() for mark in marks]
    picture(arguments, trace, answers, drawn)
    return tell(answers, as_json=arguments.json)


def _marks(name: str | None, trace: Heard) -> tuple[Mark, ...]:
    from ..finding.marks import marks_in, parse_marks

    if name is None:
        return marks_in(trace)
    try:
        lines = Path(name).read_text("utf-8").splitlines()
    except UnicodeDecodeError as exc:
        raise GivenError(f"the marks {name} are no text: {exc.reason} at byte {exc.start}; write them as text") from exc
    except OSError as exc:
        raise GivenError(f"the marks {name} cannot be read: {exc.strerror}; check the name") from exc
    return parse_marks(lines, name, trace.begin)
