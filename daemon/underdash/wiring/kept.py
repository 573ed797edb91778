"""What is kept over journeys in one small file: which ignition evidence was seen and how many identifiers units take in
a request, by car, and that quiet was asked for.

The file may be missing, cut off or nonsense at any start; then nothing was seen, which keeps the guard shut too. It is
replaced, never written in place, so a power cut leaves the old one or the new one.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from dataclasses import asdict, fields, replace
from pathlib import Path
from typing import Any

import structlog

from ..contract.cars import CarDescription
from ..power.ignition import Seen

_log = structlog.get_logger()


def car_mark(car: CarDescription) -> str:
    """Return a mark of what a description says about its ignition, and where; anything else has to be seen anew."""
    buses = {bus.role: bus.bitrate for bus in car.buses}
    text = repr((car.name, sorted(buses.items()), car.ignition, _evident(car)))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _evident(car: CarDescription) -> list[str]:
    """Return the frames that tell of the ignition, with no other fields: a bit that was moved is another field."""
    signals = {one.signal for one in car.ignition}
    found = []
    for one in car.broadcasts:
        fields = tuple(item for item in one.fields if item.signal in signals)
        if fields:
            found.append(repr(replace(one, fields=fields, period_s=None, note="")))
    return sorted(found)


def units_mark(car: CarDescription) -> str:
    """Return a mark of what a description says about its units and buses; other ones have to be learned anew."""
    buses = {bus.role: bus.bitrate for bus in car.buses}
    text = repr((car.name, sorted(buses.items()), sorted(car.units, key=lambda unit: unit.name)))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


Learned = dict[str, dict[str, Any]]
"""What `Asking.learned` returns."""


class Kept:
    """The file.

    Args:
        path: where it is; None keeps nothing.
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._cars: dict[str, dict[str, Seen]] = {}
        self._units: dict[str, Learned] = {}
        self._quiet = False
        self._saved = False
        self._failure = ""
        self._read()

    @property
    def quiet(self) -> bool:
        """Whether somebody asked for quiet and did not release it."""
        return self._quiet

    def seen(self, car: CarDescription) -> dict[str, Seen]:
        """Return what was seen of a car's ignition evidence, by signal."""
        return dict(self._cars.get(car_mark(car), {}))

    def learned(self, car: CarDescription) -> Learned:
        """Return what a car's units have shown about requests for several identifiers, for `Asking.restore`."""
        return dict(self._units.get(units_mark(car), {}))

    def keep(
        self, car: CarDescription, seen: dict[str, Seen], *, quiet: bool = False, learned: Learned | None = None
    ) -> bool:
        """Keep what was seen and learned and whether it is quiet, if it is news; returns whether it is on the disk."""
        if self._path is None:
            return False
        mark, units = car_mark(car), units_mark(car)
        learned = self._units.get(units, {}) if learned is None else learned
        known = self._cars.get(mark) == seen and self._units.get(units, {}) == learned
        if self._saved and self._quiet == quiet and known:
            return True
        self._cars[mark] = dict(seen)
        self._units[units] = dict(learned)
        self._quiet = quiet
        try:
            self._write(self._path)
        except OSError as exc:
            self._saved = False
            if str(exc) != self._failure:
                _log.warning("state_not_kept", path=str(self._path), error=str(exc))
            self._failure = str(exc)
            with contextlib.suppress(OSError):
                _part(self._path).unlink()
        else:
            self._saved, self._failure = True, ""
        return self._saved

    def _read(self) -> None:
        if self._path is None:
            return
        try:
            table = json.loads(self._path.read_bytes())
            self._cars = {str(mark): _seen(car) for mark, car in table["ignition_seen"].items()}
            self._quiet = table.get("quiet") is True
            self._units = _learned(table.get("learned"))
            self._saved = True
        except FileNotFoundError:
            return
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as exc:
            _log.warning("state_unreadable", path=str(self._path), error=str(exc))

    def _write(self, path: Path) -> None:
        table = {mark: {name: asdict(one) for name, one in car.items()} for mark, car in self._cars.items()}
        part = _part(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        with part.open("w", encoding="utf-8") as file:
            whole = {"format": 1, "quiet": self._quiet, "ignition_seen": table, "learned": self._units}
            json.dump(whole, file, indent=1)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _part(path: Path) -> Path:
    return path.with_name(path.name + ".part")


def _learned(table: object) -> dict[str, Learned]:
    """Return what is shaped like it; whoever restores it checks the rest."""
    if not isinstance(table, dict):
        return {}
    return {
        mark: {name: data for name, data in units.items() if isinstance(data, dict)}
        for mark, units in table.items()
        if isinstance(units, dict)
    }


def _seen(car: dict[str, dict[str, bool]]) -> dict[str, Seen]:
    return {
        str(name): Seen(**{one.name: table[one.name] is True for one in fields(Seen)}) for name, table in car.items()
    }
