"""What a configuration needs of this machine, looked at without opening a bus or leaving a file behind."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from ..bus.places import interfaces, resolve
from ..bus.playing import check_trace
from ..bus.port import PortAbsentError
from ..config.checking import Finding, Level
from ..config.mistakes import nearest
from ..config.schema import Config
from ..contract.errors import UnderdashError
from .building import state_directory


def findings(config: Config) -> Iterator[Finding]:
    """Say which interfaces and traces are not there and which folders cannot be written."""
    yield from _interfaces(config)
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
