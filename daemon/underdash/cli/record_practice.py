"""``underdash record TRACE --practice LESSON``: a recording of an invented car, to practise finding on."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ..bus.trace import TakenNameError
from ..contract.errors import GivenError
from .common import put_in_place


def practise(arguments: argparse.Namespace) -> int:
    """Write the recording; beside it a file of marks where something was held, and one of a speed that is known."""
    from ..bus.trace import TraceWriter
    from ..simulator.cars import simulated
    from ..simulator.practice import practice
    from ..wiring.assembly import choose_car, load_bundled

    if arguments.seconds is not None:
        raise GivenError("--seconds goes with a car; a lesson of --practice has its own length, leave it out")
    car, _ = choose_car(arguments.car, load_bundled())
    made = practice(car, simulated(arguments.car)[0], arguments.practice, arguments.seed)
    path = Path(arguments.out)
    beside = any(end is not None for _, end, _ in made.marks)
    _free(path, [*([".marks"] if beside else []), *([".csv"] if made.speed else [])])
    about = {"car": f"{car.title}, invented", "lesson": arguments.practice}
    with put_in_place(path, "TRACE") as part, TraceWriter(part, about) as out:
        left = [] if beside else [*made.marks]
        for role, frame in made.frames:
            while left and left[0][0] <= frame.at:
                out.mark(left[0][2], left.pop(0)[0])
            out.write(role, frame)
        for at, _, word in left:
            out.mark(word, at)
    print(f"{out.frames} frames in {path}", file=sys.stderr)
    if beside:
        lines = [f"{at:.2f}{'' if end is None else f'..{end:.2f}'} {word}" for at, end, word in made.marks]
        _write(path.with_suffix(".marks"), lines, "marks")
    if made.speed:
        rows = [f"{at:.2f},{speed:.1f}" for at, speed in made.speed]
        _write(path.with_suffix(".csv"), ["seconds,km/h", *rows], "the speed by satellite")
    print(f"next: underdash find {_question(arguments.practice, path)}", file=sys.stderr)
    return 0


def _question(lesson: str, path: Path) -> str:
    """Return what is asked about a lesson's recording."""
    match lesson:
        case "ignition":
            return f"ignition {path}"
        case "knob":
            return f"turned {path} --marks {path.with_suffix('.marks')}"
        case "drive":
            return f"like {path} --reference {path.with_suffix('.csv')}"
        case "tester":
            return f"requests {path} --marks {path.with_suffix('.marks')}"
    return f"pressed {path}"


def _free(path: Path, suffixes: list[str]) -> None:
    """Raise `GivenError` where the recording, or what goes beside it, would take the place of a file."""
    if path.exists() or path.is_symlink():
        raise TakenNameError(f"trace {path} cannot be written: file exists; choose another name")
    for other in map(path.with_suffix, suffixes):
        if other == path or other.exists():
            why = "is its own name" if other == path else "exists already"
            raise GivenError(f"TRACE {path}: this lesson writes {other} too, which {why}; choose another name")


def _write(path: Path, lines: list[str], what: str) -> None:
    with put_in_place(path, "TRACE") as part:
        part.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{what} in {path}", file=sys.stderr)
