"""``underdash find requests``: what another tester asked, what it was answered, and how we could ask for the same."""

from __future__ import annotations

import argparse
import csv
import json
import sys
from collections.abc import Collection
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import GivenError
from .common import pairs, put_in_place
from .find import add_trace, heard
from .find_marks import marks_of_file
from .find_recorded import add_live
from .keeping import look_at
from .progress import Progress
from .typed import typed_text

if TYPE_CHECKING:
    from ..finding.heard import Heard
    from ..finding.marks import Mark
    from ..finding.requests.readings import Reading

LARGEST = 1e12
"""No number that a tester shows is larger, and with much larger ones no line can be fitted."""


def add(parser: argparse.ArgumentParser) -> None:
    """Add this question's arguments."""
    add_trace(parser)
    add_live(parser)
    parser.add_argument(
        "--marks", metavar="F",
        help='what was on show: lines FROM..UNTIL WORD ("12..32 boost only"), or SECONDS WORD NUMBER UNIT for numbers '
        "read off the tester; those in the trace itself count too",
    )  # fmt: skip
    parser.add_argument(
        "--readings", metavar="F.csv", help="numbers read off the tester: a column of seconds, then one for each word"
    )
    parser.add_argument(
        "--name", action="append", default=[], metavar="WORD=SIGNAL", help="which signal a word means; may be repeated"
    )
    parser.add_argument("--into", metavar="F.toml", help="put the lines for a description at the end of this one")


def run(arguments: argparse.Namespace) -> int:
    """Find the requests; returns 0 where there are any, else 1."""
    from ..finding.requests.on_show import split
    from ..finding.requests.search import find_requests
    from ..finding.requests.told import lines

    names = _names(arguments.name)
    if arguments.into is not None:
        look_at(Path(arguments.into), "--into")
    trace = heard(arguments)
    marks = _marks(arguments.marks, trace)
    typed = _readings(arguments.readings, trace) if arguments.readings else {}
    _check_names(names, {word for some in (*split(marks), typed) for word in some})
    with Progress("looking for a tester") as progress:
        found = find_requests(trace, marks, typed, names, progress)
    if arguments.json:
        print(json.dumps(found.plain(), indent=2))
    else:
        print("\n".join(lines(found)))
    if arguments.picture is not None:
        from ..finding.requests.picture import draw

        with put_in_place(Path(arguments.picture), "--picture") as part:
            draw(trace, found, marks).save(part, "PNG")
    if arguments.into is not None:
        _write(Path(arguments.into), found.description)
    return 0 if found.anything else 1


def _write(path: Path, lines: str) -> None:
    """Put lines at the end of a description; raises `ConfigError` where it would have mistakes then."""
    from ..config.writing import with_lines
    from .accepting import reloaded
    from .keeping import changed

    if not lines.strip():
        raise GivenError("nothing was found that could be written down")
    with changed(path, "--into") as kept:
        kept.text = with_lines(kept.text, lines.splitlines(), str(path))
    print(f"{path}: what the tester asked stands at its end", file=sys.stderr)
    print(reloaded(path), file=sys.stderr)


def _names(given: list[str]) -> dict[str, str]:
    from ..signals.catalogue import CATALOGUE
    from ..signals.searching import hint

    names = pairs(given, "--name")
    for word, signal in names.items():
        if signal not in CATALOGUE and not signal.startswith("car."):
            raise GivenError(f"--name {word}={signal}: there is no signal {signal!r}; {hint(signal, CATALOGUE)}")
    return names


def _check_names(names: dict[str, str], said: Collection[str]) -> None:
    """Raise `GivenError` where ``--name`` speaks of a word that nobody said."""
    from ..finding.marks import listed

    for word, signal in names.items():
        if word not in said:
            there = f"they say {listed(sorted(said))}" if said else "there are none"
            raise GivenError(f"--name {word}={signal}: no mark and no reading says {word!r}; {there}")


def _marks(path: str | None, trace: Heard) -> tuple[Mark, ...]:
    from ..finding.marks import marks_in

    if path is None:
        return marks_in(trace)
    return tuple(sorted((*marks_in(trace), *marks_of_file(path, trace)), key=lambda mark: mark.begin))


def _readings(path: str, trace: Heard) -> dict[str, list[Reading]]:
    """Read a table of numbers that somebody typed: seconds, then columns headed ``boost`` or ``boost [bar]``."""
    text = typed_text(Path(path), f"--readings {path}", "name a table of seconds and numbers as CSV")
    rows = list(csv.reader(text.splitlines()))
    if not rows or len(rows[0]) < 2:
        raise GivenError(f"{path} is no table: its first line names columns, such as: seconds,boost [bar]")
    found: dict[str, list[Reading]] = {}
    for number, row in enumerate(rows[1:], 2):
        for head, text in zip(rows[0][1:], row[1:], strict=False):
            if text.strip():
                word, _, unit = head.partition("[")
                found.setdefault(word.strip(), []).append(
                    _reading((row[0], text, unit), trace.begin, f"{path}, line {number}")
                )
    if not found:
        raise GivenError(f"{path}: there is no number in it below its head; a line holds seconds and numbers")
    return found


def _reading(cells: tuple[str, str, str], first: float, where: str) -> Reading:
    from ..finding.requests.readings import Reading

    when, text, unit = (cell.strip(" ]") for cell in cells)
    try:
        at, value = float(when) + (first if when.startswith("+") else 0.0), float(text)
        if not (isfinite(at) and abs(value) <= LARGEST):
            raise ValueError
    except ValueError as exc:
        raise GivenError(
            f"{where}: seconds and a number are wanted, with + before the seconds to count from the first frame; found "
            f"{when!r} and {text!r}"
        ) from exc
    return Reading(at, value, 10.0 ** -len(text.partition(".")[2]), unit)
