"""Arguments and steps that several commands share."""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from math import isfinite, nan
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..contract.errors import GivenError, UnderdashError

if TYPE_CHECKING:
    from ..config.schema import Config
    from ..wiring.assembly import Assembly
    from ..wiring.listening import TracePlayer

MOST_HZ = 1000.0
SLOWEST, QUICKEST = 5_000, 1_000_000
CONFIG = "/etc/underdash/underdash.toml"


def add_config(parser: argparse.ArgumentParser) -> None:
    """Add ``--config``."""
    parser.add_argument("--config", default=CONFIG, metavar="F", help="the configuration (default %(default)s)")


def config(arguments: argparse.Namespace) -> Config:
    """Read the configuration that was asked for; raises `ConfigError` with all its mistakes."""
    from ..config.reading import read_config

    return read_config(config_file(arguments))


def config_file(arguments: argparse.Namespace) -> Path:
    """Return the configuration's file; raises `GivenError` where nobody made one yet."""
    path = Path(arguments.config)
    if arguments.config == CONFIG and not path.exists():
        raise GivenError(
            f"there is no configuration {CONFIG}; name yours with --config, or put a copy of the project's "
            "config/underdash.toml there"
        )
    return path


def add_car(parser: argparse.ArgumentParser, *, required: bool = True) -> None:
    """Add ``--car`` or ``--config``, ``--plugin``, ``--variant`` and ``--unit``."""
    which = parser.add_mutually_exclusive_group(required=required)
    which.add_argument("--car", metavar="C", help="the car of any installed plug-in, or a description (.toml)")
    which.add_argument("--config", metavar="F", help="the car, plug-ins, settings and units of a configuration")
    parser.add_argument(
        "--plugin",
        action="append",
        default=[],
        metavar="NAME",
        help="run this installed plug-in beside the bundled ones, with its default settings; may be repeated",
    )
    parser.add_argument("--variant", metavar="V", help="which variant of the car, where it has any")
    parser.add_argument(
        "--unit", action="append", default=[], metavar="UNIT=SHOWN", help="show a unit as another: kPa=bar, degC=degF"
    )


def add_bus(parser: argparse.ArgumentParser) -> None:
    """Add ``--bus``, for traces whose channels are not named after the car's buses."""
    parser.add_argument(
        "--bus", action="append", default=[], metavar="ROLE=CHANNEL", help="which channel of the trace is which bus"
    )


def roles(arguments: argparse.Namespace) -> dict[str, str]:
    """Return what ``--bus`` says, the bus's role by channel; raises `GivenError` where one has two roles."""
    found: dict[str, str] = {}
    for role, channel in pairs(arguments.bus, "--bus").items():
        named(role)
        if channel in found:
            raise GivenError(
                f"--bus: the channel {channel!r} cannot be both {found[channel]!r} and {role!r}; leave one out"
            )
        found[channel] = role
    return found


def named(role: str) -> str:
    """Return the name of a bus; raises `GivenError` where it cannot be shown or written down."""
    if not role.strip() or not role.isprintable():
        raise GivenError(f"--bus {role!r}: a name of letters that can be shown is wanted, such as drive")
    return role


def png(text: str, option: str) -> Path:
    """Return the path of a picture; raises `GivenError` where its name promises something else."""
    path = Path(text)
    if path.suffix.lower() != ".png":
        raise GivenError(f"{option} {path}: a picture is written as PNG; name a file ending in .png")
    return path


def pairs(given: Iterable[str], option: str) -> dict[str, str]:
    """Split ``a=b`` arguments; raises `GivenError` on one that is none."""
    found: dict[str, str] = {}
    for text in given:
        left, equals, right = text.partition("=")
        if not (equals and left and right):
            raise GivenError(f"{option} takes two names with an equals sign between them; found {text!r}")
        if found.get(left, right) != right:
            raise GivenError(f"{option} {left} is said twice, as {found[left]!r} and as {right!r}; leave one out")
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
            raise GivenError(f"--unit {name}={unit}: {exc}") from exc
    return chosen


def assembled(arguments: argparse.Namespace) -> Assembly:
    """Assemble the car that was asked for, with the bundled plug-ins and those named, or as a configuration says."""
    if arguments.config:
        from ..wiring.building import assembled as configured

        return configured(_plain_config(arguments))
    from ..wiring.assembly import assemble
    from ..wiring.installed import car_of_any, load_with

    car, loaded = car_of_any(arguments.car, load_with(arguments.plugin), variant=arguments.variant)
    try:
        return assemble(car, loaded, units=units(arguments.unit))
    except ValueError as exc:
        raise GivenError(f"--unit: {exc}") from exc


def _plain_config(arguments: argparse.Namespace) -> Config:
    for option in ("unit", "variant", "plugin"):
        if getattr(arguments, option):
            raise GivenError(f"--{option} goes with --car; with --config it is said in the configuration")
    return config(arguments)


def player(assembly: Assembly, arguments: argparse.Namespace) -> TracePlayer:
    """Return a player of the trace that was asked for."""
    from ..wiring.listening import TracePlayer

    return TracePlayer(assembly, Path(arguments.trace), roles(arguments))


def seconds(text: str) -> float:
    """Read a number of seconds that is not negative, for argparse."""
    value = number(text)
    if not 0 <= value < 1e9:
        raise argparse.ArgumentTypeError(f"seconds from 0 to below 1e9 are wanted; found {text!r}")
    return value


def positive(text: str) -> float:
    """Read a number that is larger than 0, for argparse."""
    value = number(text)
    if not 0 < value < 1e9:
        raise argparse.ArgumentTypeError(f"a number larger than 0 and below 1e9 is wanted; found {text!r}")
    return value


def rate(text: str) -> float:
    """Read how often a second, for argparse."""
    value = number(text)
    if not 0 < value <= MOST_HZ:
        raise argparse.ArgumentTypeError(f"more than 0 and at most {MOST_HZ:g} a second are wanted; found {text!r}")
    return value


def whole(text: str) -> int:
    """Read a whole number, for argparse."""
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"a whole number is wanted; found {text!r}") from None


def bitrate(text: str) -> int:
    """Read a bit rate of classic CAN, for argparse."""
    value = whole(text)
    if not SLOWEST <= value <= QUICKEST:
        raise argparse.ArgumentTypeError(f"{SLOWEST} to {QUICKEST} bit/s are wanted; found {text!r}")
    return value


def new_description(arguments: argparse.Namespace) -> None:
    """Look at ``--name`` and ``--out`` of a command that begins a description; raises `GivenError`."""
    if not arguments.name.strip() or not arguments.name.isprintable():
        raise GivenError(f"--name {arguments.name!r}: a short name is wanted, such as tarn")
    if Path(arguments.out).suffix != ".toml":
        raise GivenError(f"--out {arguments.out}: a description is known by its ending; name a file ending in .toml")


def next_step(trace: str | Path) -> str:
    """Say what is done with a recording."""
    return f"next: underdash find QUESTION {trace}; `underdash find --help` lists the questions"


def counted(number: int, one: str, more: str) -> str:
    """Write a number of things."""
    return f"{number} {one if number == 1 else more}"


def number(text: str) -> float:
    """Read a number, for argparse."""
    try:
        value = float(text)
    except ValueError:
        value = nan
    if not isfinite(value):
        raise argparse.ArgumentTypeError(f"a number is wanted; found {text!r}")
    return value


@contextlib.contextmanager
def put_in_place(path: Path, option: str) -> Iterator[Path]:
    """Yield a file beside `path` to write to; it takes its place once all is written, else what was there stays.

    Args:
        path: what a person wants to have.
        option: how they said so, for the message.

    Raises:
        UnderdashError: it cannot be written.
    """
    # a device or a pipe, such as /dev/stdout or >(gzip), is written to and must never be replaced
    special = path.exists() and not (path.is_file() or path.is_dir())
    path = path if special else Path(os.path.realpath(path))
    part = path if special else path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        if path.is_dir():
            raise IsADirectoryError(0, "it is a directory")
        yield part
        if not special:
            os.replace(part, path)
    except BrokenPipeError:
        raise
    except OSError as exc:
        raise UnderdashError(
            f"{option} {path} cannot be written: {(exc.strerror or str(exc)).lower()}; name another place"
        ) from exc
    finally:
        if not special:
            with contextlib.suppress(OSError):
                part.unlink()


@contextlib.contextmanager
def uninterrupted() -> Iterator[None]:
    """Let Ctrl-C wait until something is whole; an event loop that is half made cannot be ended in order."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextlib.contextmanager
def told_to_stop() -> Iterator[threading.Event]:
    """Yield what is set once a person or the system asks for the end."""
    stop = threading.Event()
    before = {
        number: signal.signal(number, lambda number, frame: stop.set()) for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def running_status(refused: Callable[[str], None] = lambda why: None) -> Mapping[str, Any] | None:
    """Return what the running daemon says of itself, None where none runs that could tell.

    Args:
        refused: called with the reason where one runs and does not tell this user.
    """
    from ..service.client import Client, NoDaemonError
    from ..wiring.control import socket_paths

    try:
        with Client.connect(socket_paths()) as client:
            table = client.ask("status")
    except NoDaemonError:
        return None
    except UnderdashError as exc:
        refused(str(exc))
        return None
    return table if isinstance(table.get("plugins"), dict) else None
