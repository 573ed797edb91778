"""A finding tried on the panels of the running daemon, and written into a description: what all questions share."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..contract.errors import GivenError, UnderdashError
from .common import positive, told_to_stop, whole
from .find import LIKELY
from .keeping import changed, look_at

if TYPE_CHECKING:
    from ..contract.signals import Signal
    from ..finding.found import Answer, Candidate
    from ..finding.heard import Heard
    from ..service.client import Client

MOST_TRIED = 4
SPELT = {"signal": "as", "tried": "try", "try_seconds": "try-seconds", "into": "into F.toml"}
ALONE = {
    "signal": ("into",),
    "use": ("into",),
    "unit": ("into",),
    "instead": ("into",),
    "number": ("into", "tried"),
    "try_seconds": ("tried",),
}
"""Options that say nothing without one of these."""
LOOK_S = 0.2
NO_SIGNAL = "--into goes with --as SIGNAL; `underdash signals` lists what there is"


def add_accept(parser: argparse.ArgumentParser) -> None:
    """Add what is done with the answer."""
    parser.add_argument("--try", action="store_true", dest="tried", help="show it on the running daemon's panels now")
    parser.add_argument("--try-seconds", type=positive, metavar="N", help="stop trying after so long; else with Ctrl-C")
    parser.add_argument("--into", metavar="F.toml", help="write the answer into this description, with its evidence")
    parser.add_argument("--as", dest="signal", metavar="SIGNAL", help="which signal it is; car.NAME if none is like it")
    parser.add_argument(
        "--number", type=whole, metavar="N", help="which of the numbered answers; else the only best one"
    )
    parser.add_argument("--use", choices=["comfort", "driving"], help="whether a button's own function acts on driving")
    parser.add_argument("--unit", default="", metavar="UNIT", help="unit of a signal car.NAME")
    parser.add_argument("--instead", action="store_true", help="take the place of what feeds that signal by now")


def look_ahead(arguments: argparse.Namespace) -> None:
    """Look at what can be said of the arguments before anything is searched.

    Raises:
        GivenError: the file cannot be changed, the signal is none, or something is said that goes with an option that
            is missing.
    """
    for option, missing in ALONE.items():
        said = getattr(arguments, option)
        if (said or said == 0) and said is not False and not any(getattr(arguments, one) for one in missing):
            names = " or ".join(f"--{SPELT.get(one, one)}" for one in missing)
            raise GivenError(f"--{SPELT.get(option, option)} goes with {names}, which says what to do with the answer")
    if arguments.number is not None and arguments.number < 1:
        raise GivenError(f"--number {arguments.number}: the answers are numbered from 1 on")
    if arguments.into is not None:
        look_at(Path(arguments.into), "--into")
        if not arguments.signal and not _names_its_signal(arguments):
            raise GivenError(NO_SIGNAL)
    if arguments.signal:
        _check_signal(arguments)


def _names_its_signal(arguments: argparse.Namespace) -> bool:
    """Say whether a question is about a signal of the catalogue by itself."""
    from ..signals.catalogue import CATALOGUE

    return getattr(arguments, "question", "") == "ignition" or getattr(arguments, "reference", "") in CATALOGUE


def finish(arguments: argparse.Namespace, heard: Heard, answers: Sequence[Answer], found_by: str) -> None:
    """Try and write down what was asked for.

    Args:
        arguments: of the command, see `add_accept`.
        heard: the trace.
        answers: what was found; with ``--into`` it has to be one.
        found_by: the question in words, such as ``find pressed menu``.

    Raises:
        UnderdashError: no daemon runs, the file cannot be written, or it is not clear which answer is meant.
    """
    if arguments.tried:
        _try(_to_try(arguments, answers), heard, answers[0].question, arguments.try_seconds)
    if arguments.into is not None:
        _write(arguments, heard, _chosen(arguments, answers), found_by)
    elif not arguments.tried and not getattr(arguments, "json", False) and any(answer.ranks for answer in answers):
        print(_next_step(answers, arguments.signal), file=sys.stderr)


def _next_step(answers: Sequence[Answer], signal: str | None) -> str:
    """Say what can be done with the answers."""
    best = [answer.best for answer in answers if answer.ranks]
    if all(one is None or one.confidence < LIKELY for one in best):
        return "next: the same with --try shows up to four of them on the running daemon's panels: do it, and see which"
    if all(one is None or one.where.comes for one in best):
        return "next: that frames are sent at all can be neither tried nor written down; look for it on another bus too"
    into = f"; --into F.toml{'' if signal else ' --as SIGNAL'} writes it down"
    word = f", with --word {answers[0].question} or another one," if len(best) > 1 else ""
    return f"next: the same{word} with --try shows it on the running daemon's panels{into}"


def numbered(answer: Answer) -> Iterator[Candidate]:
    """Yield the candidates of an answer in the order of their numbers."""
    for rank in answer.ranks:
        yield from rank


def _to_try(arguments: argparse.Namespace, answers: Sequence[Answer]) -> list[Candidate]:
    found = [answer for answer in answers if answer.ranks]
    if not found:
        raise GivenError("nothing was found that could be tried")
    candidates = [_chosen(arguments, answers)] if arguments.number is not None else [*numbered(found[0])]
    shown = [one for one in candidates if not one.where.comes]
    if not shown:
        raise GivenError(
            f"{candidates[0].where} is what answers, and nothing in its frames, so there is nothing to show"
        )
    return shown[:MOST_TRIED]


def _chosen(arguments: argparse.Namespace, answers: Sequence[Answer]) -> Candidate:
    found = [answer for answer in answers if answer.ranks]
    if not found:
        raise GivenError("nothing was found that could be written down")
    if len(found) > 1:
        words = ", ".join(answer.question for answer in found)
        raise GivenError(f"there are several answers ({words}); ask for one of them, then say --into")
    candidates = list(numbered(found[0]))
    if arguments.number is None:
        best = found[0].best
        if best is None:
            raise GivenError(
                f"{len(found[0].ranks[0])} places cannot be told apart by this recording; try them with --try, record "
                "again as it says above, or choose one with --number"
            )
        if best.confidence < LIKELY:
            raise GivenError(
                f"the best answer is no more than possible ({100 * best.confidence:.0f} %); try it with --try, record "
                "again, or choose it with --number 1"
            )
        return best
    if not 1 <= arguments.number <= len(candidates):
        raise GivenError(f"--number {arguments.number}: the answers have the numbers 1 to {len(candidates)}")
    number: int = arguments.number
    return candidates[number - 1]


# --- into a description -------------------------------------------------------------------------------------------


def _write(arguments: argparse.Namespace, heard: Heard, candidate: Candidate, found_by: str) -> None:
    from ..config.writing import with_addition
    from ..finding.describing import addition

    signal = _signal(arguments, candidate)
    path = Path(arguments.into)
    made = addition(candidate, heard, signal, found_by, arguments.use or "")
    with changed(path, "--into") as kept:
        _check_bus(kept.text, str(path), candidate.where.bus)
        kept.text = with_addition(kept.text, made, str(path), instead=arguments.instead)
    print(f"{path}: {signal.name} is read from {candidate.where}", file=sys.stderr)
    print(reloaded(path), file=sys.stderr)


def _check_bus(text: str, file: str, bus: str) -> None:
    """Raise `GivenError` where a description has buses, but not that one: it has another name there."""
    from ..config.toml import parse_toml

    buses = parse_toml(text, file)[0].get("bus")
    if isinstance(buses, dict) and buses and bus not in buses:
        raise GivenError(
            f"--into {file}: it has no bus {bus!r}, but {', '.join(buses)}; say which of them the recording's {bus} "
            f"is, such as --bus {next(iter(buses))}={bus}"
        )


def _check_signal(arguments: argparse.Namespace) -> None:
    """Raise `GivenError` where no finding could be what ``--as`` names."""
    from ..config.car_parts import OWN_NAME
    from ..contract.units import UNITS
    from ..signals.catalogue import BUTTON, CATALOGUE

    name = arguments.signal
    if name.startswith("car."):
        if not OWN_NAME.fullmatch(name):
            raise GivenError(f"--as {name}: small words with dots between them are wanted, such as car.fan_stage")
        if arguments.unit not in UNITS:
            raise GivenError(f"--unit {arguments.unit}: units are {', '.join(one for one in UNITS if one)}")
        return
    if arguments.unit:
        raise GivenError(f"--unit goes with a signal car.NAME; {name} has its own")
    if name.startswith(BUTTON) and arguments.use is None:
        raise GivenError(
            f"--as {name}: say --use comfort or --use driving: the car goes on doing what that button does in it, and "
            "one that acts on driving is used with care"
        )
    try:
        CATALOGUE.signal(name)
    except UnderdashError as exc:
        raise GivenError(f"--as {name}: {exc}; one that only this car has begins with car.") from exc


def _signal(arguments: argparse.Namespace, candidate: Candidate) -> Signal:
    from ..contract.signals import Kind, Signal
    from ..signals.catalogue import CATALOGUE

    name: str = arguments.signal
    if not name:
        raise GivenError(NO_SIGNAL)
    _check_signal(arguments)
    if name.startswith("car."):
        words = [*dict.fromkeys(candidate.meaning.values())]
        switch = len(words) == 2 and "scale" not in candidate.figures
        kind = Kind.SWITCH if switch else Kind.CHOICE if len(words) > 2 else Kind.NUMBER
        choices = tuple(words) if kind is Kind.CHOICE else ()
        return Signal(name, arguments.unit, f"found in {candidate.where}", kind, choices=choices)
    return CATALOGUE.signal(name)


def reloaded(path: Path) -> str:
    """Have a running daemon read its description again; says what came of it, or the next step."""
    from ..service.client import Client, NoDaemonError
    from ..wiring.control import socket_paths

    try:
        with Client.connect(socket_paths()) as client:
            table = client.ask("reload")
    except NoDaemonError:
        return f"next: underdash car check {path} --against TRACE, with a recording of a whole journey"
    except UnderdashError as exc:
        return f"the running daemon goes on as before: {exc}"
    title = table.get("title") or table.get("car")
    file = table.get("file")
    if file is not None and file != str(path.resolve()):
        return (
            f"the running daemon goes on with another description, {file or title}: [car] of its configuration says so"
        )
    return f"the running daemon has read its description again: {title}"


# --- on the panels --------------------------------------------------------------------------------------------------


def _try(candidates: Sequence[Candidate], heard: Heard, word: str, seconds: float | None) -> None:
    """Have the running daemon show candidates, and say each change, until a person has seen enough."""
    from ..service.client import Client
    from ..wiring.control import socket_paths

    with Client.connect(socket_paths()) as client, told_to_stop() as stop:
        client.begin("try", trial_tables(candidates, word))
        places = {f"car.trial_{number}": candidate.where for number, candidate in enumerate(candidates, 1)}
        try:
            for change in _changes(client, stop, seconds, word):
                print(f"seen: {places[change['signal']]} is {change['value']}", file=sys.stderr)
        except GivenError as exc:
            channels = ", ".join(dict.fromkeys(one.where.bus for one in candidates))
            raise GivenError(
                f"the running daemon cannot try it: {exc}; where the recording calls a bus otherwise ({channels}), say "
                "which it is with --bus ROLE=CHANNEL"
            ) from exc


def trial_tables(candidates: Sequence[Candidate], word: str) -> dict[str, Any]:
    """Return what the daemon's request ``try`` comes with: signals, and where they are read, as a description has them.

    A candidate whose raw numbers have meanings shows these, one with a scale its value, any other its raw number.
    """
    from ..config.spelling import listener_table, signal_table
    from ..contract.layout import BroadcastListener, Field
    from ..contract.signals import Kind, Signal

    signals, listeners = [], []
    for number, candidate in enumerate(candidates, 1):
        name, where = f"car.trial_{number}", candidate.where
        choices = tuple(dict.fromkeys(candidate.meaning.values()))
        field = Field(name, where.bits, where.coding, select=where.select)
        if "scale" in candidate.figures:
            scale, offset = candidate.figures["scale"], candidate.figures.get("offset", 0.0)
            field = Field(name, where.bits, where.coding, scale=scale, offset=offset, select=where.select)
            choices = ()
        elif choices:
            values = tuple(sorted(candidate.meaning.items()))
            field = Field(name, where.bits, where.coding, values=values, select=where.select)
        kind = Kind.CHOICE if choices else Kind.NUMBER
        signals.append(signal_table(Signal(name, "", str(where).partition(" ")[2], kind, choices=choices)))
        listeners.append(listener_table(BroadcastListener(where.bus, where.id, (field,), where.extended)))
    return {"word": word, "signal": signals, "broadcast": listeners}


def _changes(client: Client, stop: Any, seconds: float | None, word: str) -> Iterator[Mapping[str, Any]]:
    import time

    begun = False
    until = None if seconds is None else time.monotonic() + seconds
    asked_to_end = False
    while True:
        if not asked_to_end and (stop.is_set() or (until is not None and time.monotonic() >= until)):
            asked_to_end = True
            client.stop()
        reply = client.next(LOOK_S)
        if reply is None:
            continue
        if not begun:
            begun = True
            where = "on the panels now" if reply.table.get("panels", True) else "decoded now, and no panel is there"
            print(f"{where}: {word}. Do it, and look whether it is seen; Ctrl-C ends this", file=sys.stderr)
        yield from reply.table.get("changes", [])
        if reply.last:
            return
