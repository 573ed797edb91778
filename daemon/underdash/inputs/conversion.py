"""From what a channel measures to what a signal stores. Pure: compiled once, then numbers in and numbers out."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from math import inf

from ..contract.errors import UnderdashError
from ..contract.signals import Kind, Quality, Signal, Value
from ..contract.sources import Input, InputKind
from ..contract.units import UNITS, linear
from ..signals.piecewise import piecewise

Convert = Callable[[float], float | None]

MEASURED: dict[InputKind, tuple[tuple[str, str, float], ...]] = {
    # Linux, Documentation/ABI/testing/sysfs-bus-iio: what (raw + offset) * scale, or `_input`, is in
    InputKind.IIO: (
        ("in_voltage", "V", 1e-3),
        ("in_current", "A", 1e-3),
        ("in_temp", "degC", 1e-3),
        ("in_pressure", "kPa", 1.0),
        ("in_resistance", "ohm", 1.0),
        ("in_humidityrelative", "%", 1e-3),
        ("in_illuminance", "lx", 1.0),
    ),
    # Linux, Documentation/hwmon/sysfs-interface.rst: millivolts, milliamperes, millidegrees, milli per cent
    InputKind.HWMON: (("in", "V", 1e-3), ("curr", "A", 1e-3), ("temp", "degC", 1e-3), ("humidity", "%", 1e-3)),
    # Linux, Documentation/ABI/testing/sysfs-driver-w1_therm: 1/1000 degC
    InputKind.ONE_WIRE: (("", "degC", 1e-3),),
}
"""By kind: what a channel's name begins with, the unit measured, and its share of the kernel's number."""

CHANNEL = {
    InputKind.IIO: re.compile(r"in_[a-z]+\d*(?:-[a-z]+\d+)?(?:_(?!raw|input|scale|offset)[a-z]+)?"),
    InputKind.HWMON: re.compile(r"(?:in|curr|temp|humidity)\d+(?:(?:_(?:min|max|lcrit|crit|emergency))?_alarm)?"),
}
EXAMPLES = {InputKind.IIO: '"in_voltage0"', InputKind.HWMON: '"in1", "temp2" or "in0_lcrit_alarm"'}


def is_alarm(item: Input) -> bool:
    """Return whether a channel is no number but an alarm of Linux' hardware monitoring, which is on or off."""
    return item.kind is InputKind.HWMON and item.channel.endswith("_alarm")


def measured(item: Input) -> tuple[str, float]:
    """Return the unit that a channel measures in, and the factor from the kernel's number to it.

    Raises:
        UnderdashError: no channel of that kind has such a name.
    """
    kinds = MEASURED.get(item.kind, ())
    shape = CHANNEL.get(item.kind)
    if is_alarm(item) and CHANNEL[item.kind].fullmatch(item.channel):
        return "on or off", 1.0
    if shape is None or shape.fullmatch(item.channel):
        for start, unit, factor in kinds:
            if item.channel.startswith(start):
                return unit, factor
    starts = ", ".join(start for start, _, _ in kinds)
    raise UnderdashError(
        f"channel {item.channel!r} is not known; it is written as {EXAMPLES[item.kind]}, without the ending of the "
        f"file, and begins with one of {starts}"
    )


def electrical(item: Input) -> tuple[str, Callable[[float], float]]:
    """Return the unit that `points` and `scale` start from, and the function from what is measured to that."""
    unit, _ = measured(item)
    if item.divider is not None:
        _only_volts("divider", unit)
        above, below = item.divider
        if above < 0 or below <= 0:
            raise UnderdashError(f"divider {list(item.divider)} has to be ohms above and below, such as [47e3, 1e4]")
        ratio = (above + below) / below
        return unit, lambda volts: volts * ratio
    if item.pull_up is not None:
        _only_volts("pull_up", unit)
        supply, ohms = item.pull_up
        if supply <= 0 or ohms <= 0:
            raise UnderdashError(f"pull_up {list(item.pull_up)} has to be volts and ohms, such as [3.3, 1000]")
        # with nothing connected the converter sees the whole supply: no resistance is large enough
        return "ohm", lambda volts: ohms * volts / (supply - volts) if volts < supply else inf
    return unit, lambda value: value


def converter(item: Input, signal: Signal) -> Convert:
    """Return the function from what a channel measures to the signal's stored unit; None beyond the points.

    Raises:
        UnderdashError: the input contradicts itself or does not fit its signal.
    """
    if is_alarm(item):
        return _alarm(item, signal)
    if signal.kind is not Kind.NUMBER:
        raise UnderdashError(f"{signal.name} is a {signal.kind.value}, and a sensor gives a number; use a gpio line")
    unit, electric = electrical(item)
    if item.points:
        return _through_points(item, signal, electric)
    bare = item.scale == 1.0 and item.offset == 0.0 and item.unit is None
    factor, offset = _to_stored(unit if bare else item.unit, signal, measured_in=unit)
    scale, base = item.scale * factor, item.offset * factor + offset
    return lambda value: electric(value) * scale + base


def levels(item: Input, signal: Signal) -> tuple[Value | None, Value | None]:
    """Return what a line says while it is off and while it is on; None says nothing.

    Raises:
        UnderdashError: it does not fit its signal.
    """
    if signal.kind is Kind.SWITCH:
        return False, True
    if signal.kind is not Kind.CHOICE:
        raise UnderdashError(f"{signal.name} is a {signal.kind.value}, and a line is on or off; choose a switch")
    means = item.means or ("ON" if "ON" in signal.choices else "")
    if means not in signal.choices:
        raise UnderdashError(f"means is {means!r}; {signal.name} can be {', '.join(signal.choices)}")
    # a key at START that is let go of may be anything; one that is not at ON is off
    return ("OFF" if means == "ON" and "OFF" in signal.choices else None), means


def _alarm(item: Input, signal: Signal) -> Convert:
    measured(item)
    if signal.kind is not Kind.SWITCH:
        raise UnderdashError(f"{signal.name} is a {signal.kind.value}, and an alarm is on or off; choose a switch")
    if item.points or item.divider or item.pull_up or (item.scale, item.offset, item.unit) != (1.0, 0.0, None):
        raise UnderdashError("an alarm is on or off: leave points, scale, offset, unit, divider and pull_up out")
    return lambda value: value != 0


def _only_volts(key: str, unit: str) -> None:
    if unit != "V":
        raise UnderdashError(f"{key} is for channels that measure V; this one measures {unit}")


def _through_points(item: Input, signal: Signal, electric: Callable[[float], float]) -> Convert:
    raws = [raw for raw, _ in item.points]
    if len(raws) < 2 or any(a >= b for a, b in pairwise(raws)):
        raise UnderdashError(f"points need at least two, whose first numbers rise; found {raws}")
    factor, offset = _to_stored(item.unit, signal)
    value_of = piecewise([(raw, value * factor + offset) for raw, value in item.points])

    def convert(value: float) -> float | None:
        found, quality = value_of(electric(value))
        return found if quality is Quality.GOOD else None

    return convert


def _to_stored(unit: str | None, signal: Signal, measured_in: str | None = None) -> tuple[float, float]:
    if unit is None or unit == signal.unit:
        return 1.0, 0.0
    try:
        if unit not in UNITS:
            raise ValueError(f"{unit} is no unit of a signal")
        return linear(unit, signal.unit)
    except ValueError as exc:
        if measured_in is None or unit != measured_in:
            raise UnderdashError(f"{signal.name} is stored in {signal.unit!r}: {exc}") from exc
        raise UnderdashError(
            f"it measures {measured_in}, and {signal.name} is stored in {signal.unit!r}; say how one becomes the other "
            "by points, or by scale and offset"
        ) from exc
