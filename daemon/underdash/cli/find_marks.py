"""Marks of a search: from a file beside the trace, or from the trace itself."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import GivenError
from .typed import typed_text

if TYPE_CHECKING:
    from ..finding.heard import Heard
    from ..finding.marks import Mark


def add_marks(parser: argparse.ArgumentParser) -> None:
    """Add ``--marks``."""
    parser.add_argument(
        "--marks",
        metavar="F",
        help="what was done when, one a line: SECONDS WORD or FROM..UNTIL WORD, with + before a number to count from "
        "the first frame; else the marks in the trace",
    )


def marks(arguments: argparse.Namespace, heard: Heard) -> tuple[Mark, ...]:
    """Return the marks that were asked for; raises `GivenError` where their file cannot be read."""
    from ..finding.marks import marks_in

    return marks_in(heard) if arguments.marks is None else marks_of_file(arguments.marks, heard)


def marks_of_file(path: str, heard: Heard) -> tuple[Mark, ...]:
    """Read the file that ``--marks`` names; raises `GivenError` where it cannot be read or has no mark."""
    from ..finding.marks import LINE, parse_marks

    text = typed_text(Path(path), f"--marks {path}", "name a file of lines SECONDS WORD")
    found = parse_marks(text.splitlines(), path, heard.begin)
    if not found:
        raise GivenError(f"--marks {path}: there is no mark in it; {LINE}")
    return found


def to_draw(marks: Iterable[Mark]) -> list[tuple[float, float, str]]:
    """Return marks as a picture takes them."""
    return [(mark.begin, mark.last, mark.word) for mark in marks]
