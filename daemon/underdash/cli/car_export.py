"""``underdash car export CAR``: what a description hears on a bus, as a DBC file."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ..contract.errors import GivenError
from .common import put_in_place


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("car", metavar="CAR", help="a description (.toml), or the car of an installed plug-in")
    parser.add_argument("--bus", metavar="ROLE", help="which bus; needed where frames of several are described")
    parser.add_argument("--variant", metavar="V", help="which variant of the car, where it has any")
    parser.add_argument("--out", required=True, metavar="F.dbc", help="the DBC file; it must not exist yet")


def run(arguments: argparse.Namespace) -> int:
    """Write the file, and say what it cannot hold."""
    from ..broadcast.dbc_write import write_dbc
    from ..wiring.assembly import assemble, load_bundled
    from ..wiring.installed import car_of_any

    path = Path(arguments.out)
    if path.suffix.lower() != ".dbc":
        raise GivenError(f"--out {path}: a DBC file is written; name one ending in .dbc")
    if path.exists():
        raise GivenError(f"--out {path} exists already; name another file, or move that one away")
    car, loaded = car_of_any(arguments.car, load_bundled(), variant=arguments.variant)
    roles = list(dict.fromkeys(one.bus for one in car.broadcasts))
    if not roles:
        raise GivenError(f"{car.name} describes no frame that is broadcast, so there is nothing to export")
    role = arguments.bus or (roles[0] if len(roles) == 1 else None)
    if role is None or role not in roles:
        raise GivenError(f"--bus: a DBC file is about one bus; {car.name} has frames of {', '.join(roles)}: name one")
    catalogue = assemble(car, loaded).catalogue
    known = {
        field.signal: catalogue[field.signal]
        for one in car.broadcasts
        for field in one.fields
        if field.signal in catalogue
    }
    text, problems = write_dbc([one for one in car.broadcasts if one.bus == role], known)
    with put_in_place(path, "--out") as part:
        part.write_text(text, encoding="utf-8", newline="")
    for problem in problems:
        print(problem, file=sys.stderr)
    print(f"{path}: bus {role}; what is asked for has no place in a DBC file")
    return 0
