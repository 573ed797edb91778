"""What is kept over journeys in one small file: which ignition evidence was seen, by car.

The file may be missing, cut off or nonsense at any start; then nothing was seen. It is replaced, never written in
place, so a power cut leaves the old one or the new one.
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
        self._cars = self._read()

    def seen(self, car: CarDescription) -> dict[str, Seen]:
        """Return what was seen of a car's ignition evidence, by signal."""
        return dict(self._cars.get(car_mark(car), {}))

    def keep(self, car: CarDescription, seen: dict[str, Seen]) -> None:
        """Keep what was seen, if it is news."""
        mark = car_mark(car)
        if self._path is None or self._cars.get(mark) == seen:
            return
        self._cars[mark] = dict(seen)
        try:
            self._write(self._path)
        except OSError as exc:
            _log.warning("state_not_kept", path=str(self._path), error=str(exc))
            with contextlib.suppress(OSError):
                _part(self._path).unlink()

    def _read(self) -> dict[str, dict[str, Seen]]:
        if self._path is None:
            return {}
        try:
            table = json.loads(self._path.read_bytes())
            return {str(mark): _seen(car) for mark, car in table["ignition_seen"].items()}
        except FileNotFoundError:
            return {}
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as exc:
            _log.warning("state_unreadable", path=str(self._path), error=str(exc))
            return {}

    def _write(self, path: Path) -> None:
        table = {mark: {name: asdict(one) for name, one in car.items()} for mark, car in self._cars.items()}
        part = _part(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        with part.open("w", encoding="utf-8") as file:
            json.dump({"format": 1, "ignition_seen": table}, file, indent=1)
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
