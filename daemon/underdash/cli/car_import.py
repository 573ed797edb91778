"""``underdash car import DBC``: a description of what a DBC file says is on one bus."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ..contract.errors import GivenError
from .common import bitrate, counted, named, new_description
from .typed import typed_bytes

LARGEST_BYTES = 32_000_000
"""Ten times the largest one that is to be had in the open (3.3 MB)."""


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("dbc", metavar="F.dbc", help="the file")
    parser.add_argument("--bus", required=True, metavar="ROLE", help="which bus of the car it is about, such as drive")
    parser.add_argument("--bitrate", required=True, type=bitrate, metavar="N", help="bit rate of that bus, in bit/s")
    parser.add_argument("--name", required=True, metavar="N", help="short name of the car, by convention the file's")
    parser.add_argument("--title", metavar="T", help="what a person calls the car; else its short name")
    parser.add_argument("--out", required=True, metavar="F.toml", help="the description; it must not exist yet")


def run(arguments: argparse.Namespace) -> int:
    """Write the description; what could not be taken over is told line by line."""
    from ..broadcast.dbc import import_dbc
    from ..config.building_up import description, save_new
    from ..contract.cars import BusDescription, CarDescription

    new_description(arguments)
    named(arguments.bus)
    path = Path(arguments.dbc)
    imported = import_dbc(_text(path), bus=arguments.bus, prefix="car")
    for problem in imported.problems:
        print(f"{path}, {problem}", file=sys.stderr)
    if not imported.listeners:
        above = "; look at the lines above" if imported.problems else ": it has no message (BO_) with a signal (SG_)"
        raise GivenError(f"{path}: nothing in it could be taken over{above}")
    car = CarDescription(
        arguments.name,
        arguments.title or arguments.name,
        (BusDescription(arguments.bus, arguments.bitrate),),
        broadcasts=imported.listeners,
        signals=imported.signals,
        origin=f"made of {path.name}",
    )
    remarks = (
        f"Made of {path.name} by `underdash car import`. Nobody has checked it on a car yet: hold it against a",
        "recording with `underdash car check`. Signals named car.* are known to this file only; give those that the",
        "catalogue has (`underdash signals`) its names, so that every page finds them.",
    )
    save_new(Path(arguments.out), description(car, remarks))
    lost = sum(problem.lost for problem in imported.problems)
    fields = sum(len(one.fields) for one in imported.listeners)
    taken = f"{counted(len(imported.listeners), 'frame', 'frames')}, {counted(fields, 'field', 'fields')}"
    print(f"{arguments.out}: {taken}; {counted(lost, 'line', 'lines')} could not be taken over")
    print(f"next: underdash car check {arguments.out} --against TRACE")
    return 0


def _text(path: Path) -> str:
    raw = typed_bytes(path, str(path), "name a DBC file", LARGEST_BYTES)
    if b"BO_ " not in raw or b"\0" in raw:
        raise GivenError(
            f"{path} is no DBC file: "
            + ("there are zero bytes in it" if b"\0" in raw else "no line of it begins a message (BO_)")
            + "; name one, saved as text in UTF-8"
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", "replace")  # what most programs that write DBC files use (common practice)
