"""Arguments and steps that several commands share."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import UnderdashError

if TYPE_CHECKING:
    from ..wiring.assembly import Assembly
    from ..wiring.listening import TracePlayer

CONFIG = "/etc/underdash/underdash.toml"


def add_car(parser: argparse.ArgumentParser, *, required: bool = True) -> None:
    """Add ``--car``, ``--variant`` and ``--unit``."""
    parser.add_argument("--car", required=required, metavar="C", help="a plug-in's car, or a description (.toml)")
    parser.add_argument("--variant", metavar="V", help="which variant of the car, where it has any")
    parser.add_argument(
        "--unit", action="append", default=[], metavar="UNIT=SHOWN", help="show a unit as another: kPa=bar, degC=degF"
    )


def add_bus(parser: argparse.ArgumentParser) -> None:
    """Add ``--bus``, for traces whose channels are not named after the car's buses."""
    parser.add_argument(
        "--bus", action="append", default=[], metavar="ROLE=CHANNEL", help="which channel of the trace is which bus"
    )


def pairs(given: Iterable[str], option: str) -> dict[str, str]:
    """Split ``a=b`` arguments; raises `UnderdashError` on one that is none."""
    found: dict[str, str] = {}
    for text in given:
        left, equals, right = text.partition("=")
        if not (equals and left and right):
            raise UnderdashError(f"{option} takes two names with an equals sign between them; found {text!r}")
        found[left] = right
    return found


def units(given: Iterable[str]) -> dict[str, str]:
    """Read ``--unit`` arguments over the usual choice of pressures in bar."""
    from ..contract.units import linear

    chosen = {"kPa": "bar", **pairs(given, "--unit")}
    for name, unit in chosen.items():
        if "." in name:
            continue
        try:
            linear(name, unit)
        except ValueError as exc:
            raise UnderdashError(f"--unit {name}={unit}: {exc}") from exc
    return chosen


def assembled(arguments: argparse.Namespace) -> Assembly:
    """Load the bundled plug-ins and assemble the car that was asked for; problems go to the standard error."""
    from ..wiring.assembly import assemble, choose_car, load_bundled

    car, loaded = choose_car(arguments.car, load_bundled(), variant=arguments.variant)
    try:
        return assemble(car, loaded, units=units(arguments.unit))
    except ValueError as exc:
        raise UnderdashError(f"--unit: {exc}") from exc


def player(assembly: Assembly, arguments: argparse.Namespace) -> TracePlayer:
    """Return a player of the trace that was asked for."""
    from ..wiring.listening import TracePlayer

    channels = {channel: role for role, channel in pairs(arguments.bus, "--bus").items()}
    return TracePlayer(assembly, Path(arguments.trace), channels)


def seconds(text: str) -> float:
    """Read a number of seconds that is not negative, for argparse."""
    value = _number(text)
    if not 0 <= value < 1e9:
        raise argparse.ArgumentTypeError(f"seconds from 0 up are wanted; found {text!r}")
    return value


def positive(text: str) -> float:
    """Read a number that is larger than 0, for argparse."""
    value = _number(text)
    if not 0 < value < 1e9:
        raise argparse.ArgumentTypeError(f"a number larger than 0 is wanted; found {text!r}")
    return value


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"a number is wanted; found {text!r}") from None
