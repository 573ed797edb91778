"""``underdash find like TRACE --reference F.csv|SIGNAL``: which field is this known quantity."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import GivenError
from .accepting import add_accept, finish
from .common import assembled, player
from .find import add_trace, heard, picture, tell
from .find_recorded import add_live
from .typed import typed_text

if TYPE_CHECKING:
    from ..finding.heard import Heard
    from ..finding.like.reference import Reference
    from ..signals.store import Slot
    from ..wiring.assembly import Assembly


def add(parser: argparse.ArgumentParser) -> None:
    """Add this question's arguments."""
    add_trace(parser)
    add_live(parser, config=False)
    parser.add_argument(
        "--reference",
        required=True,
        metavar="F.csv|SIGNAL",
        help="the known quantity: a CSV file (seconds of the trace's clock, then numbers), a signal of --car, or one "
        "that answers of service 01 in the trace carry",
    )
    parser.add_argument("--column", metavar="C", help="which column of the file, by its head or its number from 1")
    parser.add_argument("--reference-unit", metavar="UNIT", help="the unit of the file's numbers, such as m/s")
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--car", metavar="C", help="the car that SIGNAL is decoded for")
    which.add_argument("--config", metavar="F", help="the car and plug-ins of a configuration, for the same")
    parser.add_argument("--variant", metavar="V", help="which variant of the car, where it has any")
    parser.add_argument("--plugin", action="append", default=[], metavar="NAME", help="run this plug-in for it too")
    add_accept(parser)


def run(arguments: argparse.Namespace) -> int:
    """Search, and tell which fields follow the reference."""
    # many small products of matrices: threads would only wait for each other
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from ..finding.like.search import like
    from ..signals.catalogue import CATALOGUE

    found = heard(arguments)
    if arguments.signal is None and arguments.reference in CATALOGUE:
        arguments.signal = arguments.reference
    reference = _in_unit_of_the_signal(arguments, _reference(arguments, found))
    answer = like(found, reference)
    status = tell([answer], as_json=arguments.json)
    picture(arguments, found, [answer], reference=reference)
    finish(arguments, found, [answer], f"find {answer.question}")
    return status


def _reference(arguments: argparse.Namespace, found: Heard) -> Reference:
    path = Path(arguments.reference)
    if path.exists() or path.suffix.lower() in (".csv", ".txt", ".tsv"):
        return _from_file(path, arguments)
    for option in ("column", "reference_unit"):
        if getattr(arguments, option):
            raise GivenError(f"--{option.replace('_', '-')} goes with a CSV file; --reference {path} is none")
    if arguments.car or arguments.config:
        return _from_car(arguments, found)
    from ..finding.like.standard import from_answers

    return from_answers(found, arguments.reference)


def _in_unit_of_the_signal(arguments: argparse.Namespace, reference: Reference) -> Reference:
    """Turn a reference into the unit of what the answer is written down as; raises `GivenError` where none leads there.

    A signal ``car.NAME`` without ``--unit`` takes the reference's.
    """
    from dataclasses import replace

    from ..contract.units import UNITS, linear
    from ..signals.catalogue import CATALOGUE

    name = arguments.signal
    if not name:
        return reference
    if name.startswith("car.") and not arguments.unit:
        arguments.unit = reference.unit if reference.unit in UNITS else ""
    unit = arguments.unit if name.startswith("car.") else CATALOGUE.signal(name).unit
    if reference.unit not in UNITS or not reference.unit:
        if unit:
            said = f"the unit {reference.unit!r} is not known" if reference.unit else "no unit is said of its numbers"
            print(f"{reference.name}: {said}, so they count as {unit}, as {name} has it", file=sys.stderr)
        return reference
    try:
        factor, offset = linear(reference.unit, unit)
    except ValueError as exc:
        raise GivenError(
            f"--as {name}: it is kept in {unit or 'no unit'}, and the reference is in {reference.unit}; name another "
            "signal, or put the unit right"
        ) from exc
    return replace(reference, value=reference.value * factor + offset, unit=unit)


def _from_file(path: Path, arguments: argparse.Namespace) -> Reference:
    from ..finding.like.reference_csv import parse_reference

    text = typed_text(path, f"--reference {path}", "name a CSV file: seconds, then numbers")
    reference, notes = parse_reference(text, path.name, column=arguments.column, unit=arguments.reference_unit)
    for note in notes:
        print(note, file=sys.stderr)
    return reference


def _from_car(arguments: argparse.Namespace, found: Heard) -> Reference:
    """Decode a signal of a car from the same trace; the frames it comes from are not searched."""
    import numpy as np

    from ..finding.like.reference import Reference

    # --unit is that of the answer here; a reference is searched in the unit that signals are kept in
    assembly = assembled(argparse.Namespace(**{**vars(arguments), "unit": []}))
    name = arguments.reference
    slots = assembly.store.slots(name)
    if not slots:
        raise GivenError(f"--reference {name}: neither a file nor a signal that {assembly.car.name!r} provides")
    samples: list[tuple[float, float]] = []

    def keep(slot: Slot) -> None:
        if isinstance(slot.value, (int, float)) and assembly.store.counts(slot, slot.at):
            samples.append((slot.at, float(slot.value)))

    assembly.store.watch(name, keep)
    player(assembly, arguments).play()
    if not samples:
        raise GivenError(
            f"--reference {name}: {assembly.car.name!r} has it, but nothing in {arguments.trace} carries it"
        )
    at, value = np.array(samples).T
    return Reference(name, at, value, slots[0].signal.unit, _sources(assembly, name, found))


def _sources(assembly: Assembly, name: str, found: Heard) -> tuple[tuple[str, int, bool], ...]:
    """Return the frames that carry a signal, on the buses as the trace names them."""
    listeners = [decoder.listener for decoder in assembly.broadcasts.decoders]
    frames = [
        (one.bus, one.id, one.extended) for one in listeners if any(field.signal == name for field in one.fields)
    ] + [
        (poll.unit.bus, poll.unit.response_id, poll.unit.extended)
        for poll in assembly.compiled.polls
        if name in poll.slots
    ]
    channels = {stream.bus for stream in found}
    return tuple(
        (channel, can_id, extended)
        for bus, can_id, extended in frames
        for channel in ((bus,) if bus in channels else channels)
    )
