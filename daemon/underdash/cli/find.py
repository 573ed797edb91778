"""``underdash find``: which bits of which frames carry what. One file a question, ``find_<question>.py``."""

from __future__ import annotations

import argparse
import json
import os
import sys
import sysconfig
from collections.abc import Sequence
from importlib import import_module
from importlib.metadata import requires
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import GivenError, UnderdashError
from .common import add_bus, png, put_in_place, roles
from .progress import Progress

if TYPE_CHECKING:
    from ..finding.found import Answer
    from ..finding.heard import Heard
    from ..finding.like.reference import Reference

QUESTIONS: dict[str, str] = {
    "ignition": "which field tells the position of the ignition",
    "layout": "how each id is sent, and where its fields begin and end",
    "pressed": "which bits and small fields answer to what a person did at marked times",
    "requests": "what another tester asked the car and was answered, and how to ask for the same",
    "like": "which field is a known quantity: a speed by satellites, an OBD value, numbers typed by hand",
    "turned": "which field follows a knob or pedal that is moved from end to end",
}
"""What can be asked, by word."""

SURE, LIKELY = 0.9, 0.6
SHOWN = 5


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    questions = parser.add_subparsers(dest="question", required=True, metavar="QUESTION", title="questions")
    for question, text in QUESTIONS.items():
        one = questions.add_parser(
            question, help=text, description=text[0].upper() + text[1:] + ".", allow_abbrev=False
        )
        import_module(f".find_{question}", __package__).add(one)


def run(arguments: argparse.Namespace) -> int:
    """Answer the question; returns 0 where something was found, 1 where nothing was.

    What can be said of the arguments without a search is said before one: it may take minutes.
    """
    with_numpy(f"find {arguments.question}")
    if arguments.picture is not None:
        png(arguments.picture, "--picture")
    if "tried" in arguments:
        from .accepting import look_ahead

        look_ahead(arguments)
    if "recorded" in arguments:
        from .find_recorded import recorded

        if not recorded(arguments):
            return 1
    return int(import_module(f".find_{arguments.question}", __package__).run(arguments))


def with_numpy(command: str) -> None:
    """Raise `UnderdashError` where numpy is not installed, which searches are made with."""
    if find_spec("numpy") is None:
        raise UnderdashError(f"{command} needs numpy, which is not installed here: {how_to_add_numpy()}")


def how_to_add_numpy() -> str:
    """Return the command that adds it to this very environment, and the way without network."""
    wanted = next((one for one in requires("underdash") or () if one.startswith("numpy")), "numpy").partition(";")[0]
    sudo = "" if os.access(sysconfig.get_path("purelib"), os.W_OK) else "sudo "
    return (
        f"{sudo}{sys.executable} -m pip install --only-binary :all: '{wanted.strip()}'; without network add "
        "--no-index --find-links DIR, which holds its wheel"
    )


def add_trace(parser: argparse.ArgumentParser) -> None:
    """Add the trace and how the answer is wanted, which all questions share."""
    parser.add_argument("trace", metavar="TRACE", help="a recording; .gz and common formats are read too")
    add_bus(parser)
    parser.add_argument("--json", action="store_true", help="write the answer as JSON")
    parser.add_argument("--picture", metavar="F.png", help="draw what was found over time")


def heard(arguments: argparse.Namespace) -> Heard:
    """Read the trace that was asked for, and say what it lacks; a trace without any frame is refused."""
    from ..finding.reading import read_heard

    given = roles(arguments)
    path = Path(arguments.trace)
    with Progress(f"reading {path.name}") as progress:
        found = read_heard(path, given, progress)
    if not found.streams:
        why = "".join(f"; {remark}" for remark in found.remarks)
        raise GivenError(f"there is nothing to search in {path}: no data frame in it{why or '; record again'}")
    for channel, role in given.items():
        if channel not in found.channels:
            raise GivenError(
                f"--bus {role}={channel}: no frame of a channel {channel!r} is in {path}; there are "
                + ", ".join(found.channels)
            )
    for remark in found.remarks:
        print(remark, file=sys.stderr)
    return found


def tell(answers: Sequence[Answer], *, as_json: bool) -> int:
    """Write answers for a person or as JSON; returns the exit status, 0 where anything was found."""
    if as_json:
        print(json.dumps([answer.plain() for answer in answers], indent=2))
    else:
        for answer in answers:
            print("\n".join(lines(answer)))
    return 0 if any(answer.ranks for answer in answers) else 1


def picture(
    arguments: argparse.Namespace, heard: Heard, answers: Sequence[Answer],
    marks: Sequence[tuple[float, float, str]] | None = None, reference: Reference | None = None,
) -> None:  # fmt: skip
    """Draw the answers if ``--picture`` was given: several candidates of one answer, or the first of each of several.

    Args:
        arguments: of the command.
        heard: what was searched.
        answers: what was found.
        marks: (from, until, word) in seconds of the trace; those in the trace itself if None.
        reference: what was to be followed, drawn over the candidates of one answer.
    """
    if arguments.picture is None:
        return
    from ..finding.picture import draw

    if marks is None:
        marks = [(at, at, word) for at, word in heard.marks]
    found = [(answer.question, rank[0]) for answer in answers for rank in answer.ranks[:1]]
    if len(answers) == 1:
        told = [one for rank in answers[0].ranks for one in rank]
        drawn = draw(heard, told, marks, title=answers[0].question, reference=reference)
    else:
        drawn = draw(heard, [one for _, one in found], marks, names=[question for question, _ in found])
    with put_in_place(Path(arguments.picture), "--picture") as part:
        drawn.save(part, "PNG")


def lines(answer: Answer) -> list[str]:
    """Write an answer in sentences."""
    from ..finding.found import meaning_text

    out, number = [f"{answer.question}:"], 0
    for rank in answer.ranks[:SHOWN]:
        tied = f", one of {len(rank)} that this recording cannot tell apart" if len(rank) > 1 else ""
        for at, candidate in enumerate(rank[:SHOWN], number + 1):
            out.append(f"  {at}. {candidate.where}: {how_sure(candidate.confidence)}{tied}")
            if candidate.meaning:
                out.append(f"     {meaning_text(candidate.meaning)}")
            out += [f"     {sentence}" for sentence in candidate.because]
        if len(rank) > SHOWN:
            out.append(f"     and {len(rank) - SHOWN} more like these (--json lists all)")
        number += len(rank)
    if not answer.ranks:
        out.append("  nothing found")
    return out + [f"  {remark}" for remark in answer.remarks]


def how_sure(confidence: float) -> str:
    """Put a confidence in words, with its number."""
    from ..finding.found import percent

    if confidence < 0.005:
        return f"hardly ({percent(confidence)})"
    word = "sure" if confidence >= SURE else "likely" if confidence >= LIKELY else "possible"
    return f"{word} ({percent(confidence)})"
