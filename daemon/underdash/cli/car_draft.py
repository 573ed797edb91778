"""``underdash car draft TRACE``: a description that begins with a recording."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..contract.errors import GivenError
from .common import add_bus, bitrate, counted, new_description, pairs
from .progress import Progress


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("trace", metavar="TRACE", help="a recording of the car awake, half a minute or more")
    add_bus(parser)
    parser.add_argument(
        "--bitrate", action="append", default=[], metavar="ROLE=N", help="bit rate of a bus in bit/s; for each bus"
    )
    parser.add_argument("--name", required=True, metavar="N", help="short name of the car, by convention the file's")
    parser.add_argument("--title", metavar="T", help="what a person calls the car; else its short name")
    parser.add_argument("--out", required=True, metavar="F.toml", help="the description; it must not exist yet")


def run(arguments: argparse.Namespace) -> int:
    """Write it, and say what comes next."""
    from ..config.building_up import description, save_new
    from .find import heard, with_numpy

    with_numpy("car draft")
    from ..finding.drafting import draft

    new_description(arguments)
    found = heard(arguments)
    rates = _rates(arguments.bitrate, list(dict.fromkeys(stream.bus for stream in found)))
    with Progress("looking for a tester") as progress:
        car, lines = draft(found, arguments.name, arguments.title or arguments.name, rates, progress)
    remarks = (
        f"Begun with {Path(arguments.trace).name} by `underdash car draft`. Each thing that is found goes in here with",
        "`underdash find ... --into`; config/cars/every_key.toml of the project explains every key.",
    )
    save_new(Path(arguments.out), description(car, remarks, lines))
    buses, frames = counted(len(car.buses), "bus", "buses"), counted(len(car.fingerprint), "frame", "frames")
    print(f"{arguments.out}: {buses}, recognised by {frames}")
    if left := [role for role in dict.fromkeys(stream.bus for stream in found) if role not in rates]:
        print(f"left out, since no --bitrate says how fast it is: {', '.join(left)}")
    if not car.fingerprint:
        print("no frame came by the clock from beginning to end; without a fingerprint nothing is ever asked")
    print(f"next: underdash find ignition TRACE --into {arguments.out} --as vehicle.ignition")
    return 0


def _rates(given: list[str], buses: list[str]) -> dict[str, int]:
    rates = {}
    for role, text in pairs(given, "--bitrate").items():
        if role not in buses:
            raise GivenError(
                f"--bitrate {role}: the recording has no such bus; it has {', '.join(buses)}; "
                f"where that is another name for one of them: --bus {role}={buses[0]}"
            )
        try:
            rates[role] = bitrate(text.replace("_", ""))
        except argparse.ArgumentTypeError as exc:
            raise GivenError(f"--bitrate {role}: {exc}; a usual one is 500000") from None
    if not rates:
        example = " ".join(f"--bitrate {role}=500000" for role in buses)
        raise GivenError(
            f"the recording has {', '.join(buses)}; say how fast each bus of the car is ({example}): a recording does "
            "not tell, `underdash listen` does"
        )
    return rates
