"""What a configuration needs of this machine, looked at without opening a bus or leaving a file behind."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

from ..bus.controller import Controller, read
from ..bus.places import interfaces, resolve
from ..bus.playing import check_trace
from ..bus.port import PortAbsentError
from ..config.checking import Finding, Level
from ..config.mistakes import nearest
from ..config.schema import BusConfig, Config
from ..contract.cars import BusDescription, CarDescription
from ..contract.errors import UnderdashError
from .building import state_directory

LEAST_QUANTA = 8
"""A bit has at least so many of the clock's steps (ISO 11898-1, time quanta)."""
NEAR = 0.05
"""A rate this near was meant to be the other: usual rates lie further apart."""


def findings(
    config: Config, car: CarDescription, ask: Callable[[str], Controller | None] = read, *, folders: bool = True
) -> Iterator[Finding]:
    """Say which interfaces and traces are not there or set up wrongly, and which folders cannot be written.

    Args:
        config: the configuration.
        car: its car.
        ask: tells how Linux has set an interface up.
        folders: look whether this user may write where the configuration wants it.
    """
    yield from _interfaces(config)
    described = {bus.role: bus for bus in car.buses}
    for role, bus in config.bus.items():
        setup = _setup_of(bus, ask)
        if setup is not None and role in described:
            yield from set_up(bus, described[role], setup)
    if folders:
        yield from _folders(config)


def _folders(config: Config) -> Iterator[Finding]:
    if not _writable(state_directory()):
        yield Finding(
            Level.ERROR, f"state cannot be kept in {state_directory()}", "make that folder one this user may write"
        )
    folder = config.path.parent / config.recording.folder
    if config.recording.traces and not _writable(folder):
        yield Finding(Level.ERROR, f"recording.folder {folder} cannot be written", "choose one that can be")


def _interfaces(config: Config) -> Iterator[Finding]:
    there = interfaces()
    for role, bus in config.bus.items():
        if bus.interface == "trace":
            try:
                check_trace(config.path.parent / bus.channel, bus.recorded_as or role)
            except UnderdashError as exc:
                yield Finding(Level.ERROR, f"bus.{role}: {exc}")
        if bus.interface != "socketcan":
            continue
        if bus.hardware:
            try:
                resolve(bus.hardware)
            except PortAbsentError as exc:
                yield Finding(Level.ERROR, f"bus.{role}: {exc}")
        elif bus.channel not in there:
            near = nearest(bus.channel, there)
            guess = f"; did you mean {near!r}?" if near else ""
            listed = ", ".join(there) or "none"
            yield Finding(
                Level.ERROR,
                f"bus.{role}: there is no CAN interface {bus.channel!r}; there are: {listed}{guess}",
                "check the plug and that the interface is set up",
            )


def _writable(folder: Path) -> bool:
    """Return whether a folder can be written, or made where it is missing."""
    for place in (folder, *folder.parents):
        if place.exists():
            return place.is_dir() and os.access(place, os.W_OK | os.X_OK)
    return False


def _setup_of(bus: BusConfig, ask: Callable[[str], Controller | None]) -> Controller | None:
    if bus.interface != "socketcan":
        return None
    try:
        return ask(resolve(bus.hardware) if bus.hardware else bus.channel)
    except PortAbsentError:
        return None  # told already


def set_up(bus: BusConfig, described: BusDescription, setup: Controller) -> Iterator[Finding]:
    """Say what is wrong or doubtful about how Linux has set an interface up.

    Args:
        bus: as configured.
        described: the car's bus.
        setup: the interface.
    """
    role, name = described.role, setup.name
    if not setup.up:
        yield Finding(Level.ERROR, f"bus.{role}: {name} is switched off", _switch_on(setup, described.bitrate))
    if not setup.real:
        return
    network = "of its .network file (systemd/README.md)"
    yield from _rate(role, described.bitrate, setup, network)
    if bus.bitrate is not None and bus.bitrate != described.bitrate:
        sentence = f"bus.{role}.bitrate is {bus.bitrate}, the car's description says {described.bitrate}"
        yield Finding(Level.ERROR, sentence, "correct the one that is wrong")
    if not setup.listen_only and not bus.transmit:
        sentence = (
            f"bus.{role}: {name} takes part in the bus, though nothing is to be sent; at a wrong rate it disturbs"
        )
        yield Finding(Level.WARNING, sentence, f"set ListenOnly=yes {network}")
    if not setup.listen_only and bus.transmit and bus.bitrate is None:
        sentence = (
            f"bus.{role}: {name} takes part as soon as it is up, before anything has shown that its rate is right"
        )
        step = f"safer is ListenOnly=yes {network}, and bitrate = {described.bitrate} in [bus.{role}] for the helper"
        yield Finding(Level.NOTE, sentence, f"`underdash listen` proves the rate; {step}")
    if setup.listen_only and bus.transmit and bus.bitrate is None:
        sentence = f"bus.{role}: {name} listens only, so requests do not get out"
        step = f"once the rate is proven, write bitrate = {described.bitrate} into [bus.{role}] for the helper"
        yield Finding(Level.NOTE, sentence, f"{step}, or take ListenOnly=yes out {network}")
    if described.silent and bus.transmit and setup.may_one_shot is False:
        sentence = (
            f"bus.{role} is silent until asked, and the adapter at {name} has no one-shot mode to prove its rate by"
        )
        yield Finding(Level.WARNING, sentence, "use an adapter that has; this bus stays closed")
    if bus.transmit and not setup.restart_ms:
        sentence = f"bus.{role}: {name} does not come back by itself after a bus-off"
        yield Finding(Level.NOTE, sentence, f"set RestartSec=0.1s {network}")


def _switch_on(setup: Controller, bitrate: int) -> str:
    """Say how an interface is switched on without its taking part in a bus whose rate is not proven."""
    if not setup.real:
        return f"switch it on: sudo ip link set {setup.name} up"
    command = f"sudo ip link set {setup.name} up type can bitrate {bitrate}"
    if setup.may_listen_only is False:
        return f"this adapter cannot listen only: once you are sure of the rate, {command}"
    return f"switch it on, listening only: {command} listen-only on; systemd/README.md says how that is kept"


def _rate(role: str, bitrate: int, setup: Controller, network: str) -> Iterator[Finding]:
    """Say whether the rate is the described one, and where it is not, whether the controller's clock could make it."""
    found, clock_hz = setup.bitrate, setup.clock_hz
    if found == bitrate:
        return
    what = f"bus.{role}: {setup.name}"
    if clock_hz is not None and clock_hz < LEAST_QUANTA * bitrate:
        sentence = f"{what} has a clock of {clock_hz / 1e6:g} MHz, too slow for {bitrate} bit/s"
        yield Finding(Level.ERROR, sentence, "a board with a faster oscillator, or the right oscillator= in config.txt")
    elif found is None:
        yield Finding(Level.ERROR, f"{what} has no bit rate", f"set BitRate={bitrate} {network}")
    elif clock_hz is not None and abs(found - bitrate) < NEAR * bitrate:
        sentence = (
            f"{what} runs at {found} bit/s, the nearest to {bitrate} that its clock of {clock_hz / 1e6:g} MHz gives"
        )
        step = "is the oscillator= in its dtoverlay line of config.txt the figure on the oscillator?"
        yield Finding(Level.ERROR, sentence, step)
    else:
        sentence = f"{what} runs at {found} bit/s, the car's description says {bitrate}"
        yield Finding(Level.ERROR, sentence, f"correct BitRate {network}, or the description")
