"""``underdash car check CAR --against TRACE...``: what a description makes of whole journeys."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..contract.errors import GivenError
from .common import add_bus, roles

if TYPE_CHECKING:
    from ..config.findings import Finding
    from ..wiring.against import Journey, Record


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("car", metavar="CAR", help="a description (.toml), or the car of an installed plug-in")
    parser.add_argument("--against", nargs="+", metavar="TRACE", default=[], help="recordings of this car")
    parser.add_argument("--variant", metavar="V", help="which variant of the car, where it has any")
    add_bus(parser)
    parser.add_argument(
        "--untouched",
        action="store_true",
        help="nobody touched a button in them: each press without a mark is a false one",
    )
    parser.add_argument("--json", action="store_true", help="write all of it as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Check; 1 if something in the description is wrong, or if it reads nothing of what was recorded."""
    from ..config.findings import Level
    from ..wiring.against import findings

    _look_at(arguments)
    problems, journeys = [], []
    for trace in arguments.against or [None]:
        assembly = _fresh(arguments)
        problems = assembly.problems
        if trace is not None:
            journeys.append(_journey(arguments, assembly, Path(trace)))
    found = list(findings(journeys, untouched=arguments.untouched))
    if arguments.json:
        print(json.dumps(_plain(journeys, found, problems), indent=2))
    else:
        _tell(journeys, found, problems, arguments.car)
    wrong = problems or any(one.level is Level.ERROR for one in found)
    return 1 if wrong or (journeys and not _reads(journeys)) else 0


def _reads(journeys: list[Journey]) -> bool:
    """Say whether anything of what was recorded came to a value."""
    return any(record.count or record.refused for journey in journeys for record in journey.records)


def _look_at(arguments: argparse.Namespace) -> None:
    """Raise `GivenError` where something is said about recordings that are not named."""
    for option in ("untouched", "bus"):
        if getattr(arguments, option) and not arguments.against:
            raise GivenError(f"--{option} is about recordings; name some with --against TRACE")


def _fresh(arguments: argparse.Namespace) -> Any:
    """A car that has not heard anything: one for each recording."""
    from ..wiring.assembly import assemble, load_bundled
    from ..wiring.installed import car_of_any

    car, loaded = car_of_any(arguments.car, load_bundled(), variant=arguments.variant)
    return assemble(car, loaded)


def _journey(arguments: argparse.Namespace, assembly: Any, trace: Path) -> Journey:
    from ..wiring.against import held_against
    from ..wiring.listening import TracePlayer

    return held_against(assembly, TracePlayer(assembly, trace, roles(arguments)), trace)


def _tell(journeys: list[Journey], found: list[Finding], problems: list[str], car: str) -> None:
    from ..config.findings import Level

    for journey in journeys:
        print(f"{journey.trace}: {journey.seconds:.1f} s, {journey.frames} frames")
        heard = [record for record in journey.records if record.count or record.refused]
        width = max((len(record.signal) for record in heard), default=0)
        for record in sorted(heard, key=lambda one: one.signal):
            print(f"  {record.signal:{width}}  {_line(record)}")
    for sentence in problems:
        print(f"error: {sentence}")
    for one in found:
        print(one)
    if not journeys:
        print(
            f"{car} has no mistakes of its own; whether it fits the car is told by --against TRACE",
            file=sys.stderr if problems else sys.stdout,
        )
    elif not problems and all(one.level is Level.NOTE for one in found):
        if not _reads(journeys):
            print(f"{car} reads nothing of what was recorded, so nothing was checked")
            return
        print("nothing speaks against it" + (" in what was heard" if found else ""))
        if car.endswith(".toml"):
            print(f'next: file = "{car}" under [car] of the configuration, then underdash check', file=sys.stderr)


def _line(record: Record) -> str:
    if record.presses:
        return f"{len(record.presses)} presses"
    words = ", ".join(f"{word} {count}" for word, count in sorted(record.words.items()))
    numbers = f"{record.low:g} to {record.high:g} {record.unit}".rstrip() if record.low <= record.high else ""
    return f"{record.count} values: {numbers or words or 'none'}"


def _plain(journeys: list[Journey], found: list[Finding], problems: list[str]) -> dict[str, Any]:
    return {
        "journeys": [
            {
                "trace": str(journey.trace),
                "seconds": journey.seconds,
                "frames": journey.frames,
                "signals": [_record(record) for record in journey.records],
            }
            for journey in journeys
        ],
        "findings": [{"level": str(one.level), "sentence": one.sentence, "next_step": one.next_step} for one in found],
        "problems": problems,
    }


def _record(record: Record) -> dict[str, Any]:
    there = record.low <= record.high
    return {
        "signal": record.signal,
        "source": record.source,
        "unit": record.unit,
        "values": record.count,
        "refused": record.refused,
        "low": record.low if there else None,
        "high": record.high if there else None,
        "words": record.words,
        "presses": [[press.since, None if press.until > 1e300 else press.until] for press in record.presses],
    }
