"""What is kept over journeys in one small file: which ignition evidence was seen, by car, and that quiet was asked for.

The file may be missing, cut off or nonsense at any start; then nothing was seen, which keeps the guard shut too. It is
replaced, never written in place, so a power cut leaves the old one or the new one.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from dataclasses import asdict, fields
from pathlib import Path

import structlog

from ..contract.cars import CarDescription
from ..power.ignition import Seen

_log = structlog.get_logger()


def car_mark(car: CarDescription) -> str:
    """Return a mark of what a description says about its ignition; other evidence has to be seen anew."""
    buses = {bus.role: bus.bitrate for bus in car.buses}
    text = repr((car.name, sorted(buses.items()), car.ignition))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


class Kept:
    """The file.

    Args:
        path: where it is; None keeps nothing.
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._cars: dict[str, dict[str, Seen]] = {}
        self._quiet = False
        self._saved = False
        self._read()

    @property
    def quiet(self) -> bool:
        """Whether somebody asked for quiet and did not release it."""
        return self._quiet

    def seen(self, car: CarDescription) -> dict[str, Seen]:
        """Return what was seen of a car's ignition evidence, by signal."""
        return dict(self._cars.get(car_mark(car), {}))

    def keep(self, car: CarDescription, seen: dict[str, Seen], *, quiet: bool = False) -> bool:
        """Keep what was seen and whether it is quiet, if it is news; returns whether it is on the disk."""
        if self._path is None:
            return False
        mark = car_mark(car)
        if self._saved and self._quiet == quiet and self._cars.get(mark) == seen:
            return True
        self._cars[mark] = dict(seen)
        self._quiet = quiet
        try:
            self._write(self._path)
        except OSError as exc:
            self._saved = False
            _log.warning("state_not_kept", path=str(self._path), error=str(exc))
            with contextlib.suppress(OSError):
                _part(self._path).unlink()
        else:
            self._saved = True
        return self._saved

    def _read(self) -> None:
        if self._path is None:
            return
        try:
            table = json.loads(self._path.read_bytes())
            self._cars = {str(mark): _seen(car) for mark, car in table["ignition_seen"].items()}
            self._quiet = table.get("quiet") is True
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
            json.dump({"format": 1, "quiet": self._quiet, "ignition_seen": table}, file, indent=1)
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


def _seen(car: dict[str, dict[str, bool]]) -> dict[str, Seen]:
    return {str(name): Seen(**{one.name: bool(table[one.name]) for one in fields(Seen)}) for name, table in car.items()}
