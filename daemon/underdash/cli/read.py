"""``underdash read TRACE --car C``: every signal of a trace as CSV."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from ..contract.errors import GivenError, UnderdashError
from .common import add_bus, add_car, assembled, player, put_in_place, rate

if TYPE_CHECKING:
    from ..wiring.assembly import Assembly
    from ..wiring.listening import TracePlayer


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("trace", metavar="TRACE", help="a recording; .gz and common formats are read too")
    add_car(parser)
    add_bus(parser)
    parser.add_argument("--out", metavar="F", help="where to write; the standard output if left out")
    parser.add_argument("--wide", type=rate, metavar="HZ", help="a row every 1/HZ seconds, a column a signal")
    parser.add_argument(
        "--all-sources",
        action="store_true",
        help="write the samples of every source of a signal, not only of the one that counts at that moment",
    )


def run(arguments: argparse.Namespace) -> int:
    """Read the trace and write the table; what it came to goes to the standard error."""
    assembly = assembled(arguments)
    reading = player(assembly, arguments)
    _check_out(arguments)
    if arguments.out is None:
        if sys.stdout is None:
            raise UnderdashError("the standard output is closed; name a file with --out")
        written = _write(assembly, reading, sys.stdout, arguments.wide, arguments.all_sources)
    else:
        written = _write_file(assembly, reading, Path(arguments.out), arguments.wide, arguments.all_sources)
    _tell(assembly, reading, written)
    return 0


def _check_out(arguments: argparse.Namespace) -> None:
    with contextlib.suppress(OSError):
        if arguments.out is not None and os.path.samefile(arguments.out, arguments.trace):
            raise GivenError(f"--out {arguments.out} is the trace itself; name another file")


def _write_file(assembly: Assembly, reading: TracePlayer, path: Path, hz: float | None, all_sources: bool) -> int:
    with put_in_place(path, "--out") as part, part.open("w", newline="", encoding="utf-8") as out:
        return _write(assembly, reading, out, hz, all_sources)


def _write(assembly: Assembly, reading: TracePlayer, out: TextIO, hz: float | None, all_sources: bool) -> int:
    from ..recording.export import LongTable, WideTable

    if hz is None:
        table = LongTable(out, assembly.store, all_sources=all_sources)
        reading.play(before=table.begin)
        table.begin()
        return table.written
    wide = WideTable(out, assembly.store, assembly.store.names(), hz)
    reading.play(before=wide.advance)
    wide.begin()
    return wide.written


def _tell(assembly: Assembly, reading: TracePlayer, written: int) -> None:
    from ..bus.trace_lacks import lacks
    from ..diagnostics.speech import MISTAKEN

    heard = [name for name in assembly.store.names() if any(slot.count for slot in assembly.store.slots(name))]
    seconds = reading.now - (reading.start or 0.0)
    lines = [f"{reading.frames} frames in {seconds:.1f} s, {len(heard)} signals, {written} rows"]
    if reading.foreign:
        lines.append(f"{reading.foreign} frames left out: other buses, error, remote or FD frames")
    lines += [f"no frame of a channel {channel!r} is in it, which --bus names" for channel in reading.absent]
    lines += lacks(reading.trace)
    if reading.back_at is not None:
        lines.append(
            f"time goes back after {reading.back_at:.1f} s, so what is computed or written with --wide is wrong from "
            "there on; cut the trace at that place and read the parts"
        )
    if not heard:
        lines.append(f"nothing in it belongs to car {assembly.car.name!r}: another car, or another bus")
    if failed := assembly.asking.dropped.get(MISTAKEN, 0):
        lines.append(f"frames that the `decode` of a plug-in's protocol failed at: {failed}; tell its author")
    for line in (*lines, *assembly.problems):
        print(line, file=sys.stderr)
