"""``underdash find turned``: which field follows a knob or pedal that is moved from end to end."""

from __future__ import annotations

import argparse

from .accepting import add_accept, finish
from .find import add_trace, heard, picture, tell
from .find_marks import add_marks, marks, to_draw
from .find_recorded import add_live


def add(parser: argparse.ArgumentParser) -> None:
    """Add this question's arguments."""
    parser.epilog = (
        "Turn it slowly from end to end, up and down, four times, and rest 3 s at each end; mark each turn from its "
        "begin to its end: `12..16 dimmer up`, `20..24 dimmer down`, `30..36 pedal end to end`, or "
        "type `dimmer up begin` and `dimmer up end` while you record. With the car standing."
    )
    add_trace(parser)
    add_live(parser)
    add_marks(parser)
    parser.add_argument("--word", action="append", default=[], metavar="W", help="only this control; repeatable")
    add_accept(parser)


def run(arguments: argparse.Namespace) -> int:
    """Say for each control which field follows it."""
    from ..contract.errors import GivenError
    from ..finding.marks import listed, marks_of
    from ..finding.turned.search import turned
    from ..finding.turned.sweeps import sweeps_of

    found = heard(arguments)
    chosen = [mark for some in marks_of(marks(arguments, found), found).values() for mark in some]
    controls = sweeps_of(sorted(chosen, key=lambda mark: mark.begin))
    for word in arguments.word:
        if word not in controls:
            raise GivenError(f"no mark names {word!r}; they name {listed(controls)}")
    answers = turned(found, controls)
    answers = [one for one in answers if not arguments.word or one.question in arguments.word]
    status = tell(answers, as_json=arguments.json)
    picture(arguments, found, answers, to_draw(chosen))
    finish(arguments, found, answers, "find turned")
    return status
