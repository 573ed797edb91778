"""Marks of a search: from a file beside the trace, or from the trace itself."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import GivenError

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
    from ..finding.marks import marks_in, parse_marks

    if arguments.marks is None:
        return marks_in(heard)
    path = Path(arguments.marks)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as exc:
        reason = getattr(exc, "strerror", None) or "it is no text in UTF-8"
        raise GivenError(f"--marks {path} cannot be read: {reason}; name a file of lines SECONDS WORD") from exc
    return parse_marks(text.splitlines(), str(path), heard.begin)


def to_draw(marks: Iterable[Mark]) -> list[tuple[float, float, str]]:
    """Return marks as a picture takes them."""
    return [(mark.begin, mark.last, mark.word) for mark in marks]
