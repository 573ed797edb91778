"""Channels of the kernel as files: found by what a device calls itself, since its number changes from start to start.

Where they stand and what is in them: Linux, Documentation/ABI/testing/sysfs-bus-iio and sysfs-driver-w1_therm,
Documentation/hwmon/sysfs-interface.rst.
"""

from __future__ import annotations

from math import isfinite
from pathlib import Path

from ..contract.errors import UnderdashError
from ..contract.sources import Input, InputKind
from .conversion import is_alarm, measured

SYS = Path("/sys")
FOLDERS = {
    InputKind.IIO: ("bus/iio/devices", "iio:device*"),
    InputKind.HWMON: ("class/hwmon", "hwmon*"),
    InputKind.ONE_WIRE: ("bus/w1/devices", "[0-9a-f][0-9a-f]-*"),
}
OVERLAYS = {
    InputKind.IIO: "is its overlay in config.txt, and the chip on its bus?",
    InputKind.HWMON: "is its driver loaded?",
    InputKind.ONE_WIRE: "is dtoverlay=w1-gpio in config.txt, and the sensor's three wires connected?",
}
NOT_MEASURED = {
    85.0: "85 degC, which the sensor says before it has measured: does its supply dip?",
    127.937: "127.94 degC, which the sensor says when its supply is too weak to measure: feed it by its third wire",
}
"""Values of a DS18B20 that are none: Linux, Documentation/w1/slaves/w1_therm.rst."""


class NoValueError(UnderdashError):
    """The device is there and gives no value."""


class Channel:
    """One channel; each `read` may take long, and finds the device anew if it was gone.

    Args:
        item: of kind iio, hwmon or one_wire.
        root: where sysfs is mounted.

    Raises:
        UnderdashError: no channel of that kind has such a name.
    """

    def __init__(self, item: Input, root: Path = SYS) -> None:
        self._item = item
        self._root = root
        self._found: Path | None = None
        self.unit, self._factor = measured(item)

    def read(self) -> float:
        """Return what it measures, in `unit`.

        Raises:
            UnderdashError: it is not there.
            NoValueError: it is there and cannot be read now.
        """
        device = self._found if self._found is not None and self._found.exists() else self._find()
        self._found = device
        try:
            value = self._value(device) * self._factor
        except (OSError, ValueError) as exc:
            self._found = None
            if not device.exists():
                raise UnderdashError(f"{device.name} has gone; {OVERLAYS[self._item.kind]}") from exc
            why = exc.strerror if isinstance(exc, OSError) and exc.strerror else exc
            raise NoValueError(f"{device.name} gives no value: {why}") from exc
        if not isfinite(value):
            raise NoValueError(f"{device.name} gives {value}")
        if self._item.kind is InputKind.ONE_WIRE:
            for none, why in NOT_MEASURED.items():
                if abs(value - none) < 1e-3:
                    raise NoValueError(f"{device.name} gives {why}")
        return value

    def _value(self, device: Path) -> float:
        channel = self._item.channel
        if self._item.kind is InputKind.ONE_WIRE:
            return _number(device / "temperature")
        if self._item.kind is InputKind.HWMON:
            return _number(device / (channel if is_alarm(self._item) else f"{channel}_input"))
        if (device / f"{channel}_input").exists():
            return _number(device / f"{channel}_input")
        raw = _number(device / f"{channel}_raw")
        return (raw + self._aside(device, "offset", 0.0)) * self._aside(device, "scale", 1.0)

    def _aside(self, device: Path, what: str, without: float) -> float:
        """Return a channel's own scale or offset, or the one that all channels of its kind share."""
        channel = self._item.channel
        for name in (channel, channel.rstrip("0123456789")):
            path = device / f"{name}_{what}"
            if path.exists():
                return _number(path)
        return without

    def _find(self) -> Path:
        kind, place = self._item.kind, self._item.place
        folder, pattern = FOLDERS[kind]
        devices = sorted((self._root / folder).glob(pattern))
        if kind is InputKind.ONE_WIRE:
            devices = [one for one in devices if (one / "temperature").exists()]
            names = {one: one.name for one in devices}
        else:
            names = {one: _text(one / "name") for one in devices}
        # two chips of one kind have one name: the place on their bus tells them apart ("1-0049")
        fitting = [one for one in devices if place in ("", names[one]) or place in one.resolve().parts]
        if len(fitting) == 1:
            return fitting[0]
        there = ", ".join(dict.fromkeys(names.values())) or "none"
        if not fitting:
            wanted = f"device {place!r}" if place else "device"
            raise UnderdashError(f"no {kind.value} {wanted} is there, there are: {there}; {OVERLAYS[kind]}")
        if place:
            where = " or ".join(repr(one.resolve().parent.name) for one in fitting)
            raise UnderdashError(f"{len(fitting)} {kind.value} devices are called {place!r}; name one by {where}")
        raise UnderdashError(f"there are several {kind.value} devices: {there}; say which one by `device`")


def _number(path: Path) -> float:
    return float(path.read_text().strip())


def _text(path: Path) -> str:
    try:
        return path.read_text().strip()
    except (OSError, ValueError):
        return ""
