"""A tree of the kernel's files, and inputs on a loop whose time stands still."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

Sensor = Callable[..., Path]


@pytest.fixture
def iio(tmp_path: Path) -> Sensor:
    """Makes an IIO device with a name and files, and returns its folder."""

    def make(name: str = "ads1015", number: int = 0, **files: float) -> Path:
        return _device(tmp_path / "bus/iio/devices" / f"iio:device{number}", name, files)

    return make


@pytest.fixture
def hwmon(tmp_path: Path) -> Sensor:
    """Makes a hwmon device."""

    def make(name: str = "rpi_volt", number: int = 0, **files: float) -> Path:
        return _device(tmp_path / "class/hwmon" / f"hwmon{number}", name, files)

    return make


@pytest.fixture
def one_wire(tmp_path: Path) -> Sensor:
    """Makes a thermometer on the 1-Wire bus, and the bus's own entry beside it."""

    def make(name: str = "28-0316a2794bff", temperature: float | str = 21500) -> Path:
        (tmp_path / "bus/w1/devices/w1_bus_master1").mkdir(parents=True, exist_ok=True)
        return _device(tmp_path / "bus/w1/devices" / name, name, {"temperature": temperature})

    return make


def _device(folder: Path, name: str, files: dict[str, float] | dict[str, float | str]) -> Path:
    folder.mkdir(parents=True)
    (folder / "name").write_text(f"{name}\n")
    for file, value in files.items():
        (folder / file).write_text(f"{value}\n")
    return folder
