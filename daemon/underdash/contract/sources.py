"""Signals that are computed or wired instead of heard."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from .signals import Quality, Reading, Value


@dataclass(frozen=True, slots=True)
class Result:
    """What a derived signal gives.

    Args:
        value: in the stored unit.
        quality: how far to trust it.
        rests_on: the inputs it was really computed from, which decide how old it is; all of them if left out.
    """

    value: Value
    quality: Quality = Quality.GOOD
    rests_on: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Derived:
    """A signal computed from others.

    Args:
        signal: its name.
        inputs: signals it needs; demand for it passes on to them.
        step: (state, inputs, dt_s) -> (state, result or None); synchronous and pure. `inputs` holds a reading for
            every name in `inputs`, gone ones included. `dt_s` is the time since the last step.
        state: what the first step gets.
        period_s: how often it is computed at most.
    """

    signal: str
    inputs: tuple[str, ...]
    step: Callable[[Any, Mapping[str, Reading], float], tuple[Any, Result | None]]
    state: Any = None
    period_s: float = 0.04


class InputKind(StrEnum):
    """What reads a wired line or sensor."""

    GPIO = "gpio"
    """A line of the board that is on or off."""
    IIO = "iio"
    """A channel of the kernel's industrial I/O, such as an analogue-to-digital converter."""
    HWMON = "hwmon"
    """A channel of the kernel's hardware monitoring."""
    ONE_WIRE = "one_wire"
    """A thermometer on the kernel's 1-Wire bus."""


class Pull(StrEnum):
    """What holds a GPIO line while nothing drives it."""

    AS_IS = "as is"
    OFF = "off"
    UP = "up"
    DOWN = "down"


@dataclass(frozen=True, slots=True)
class Input:
    """A wired line or sensor on the board.

    What a sensor's channel measures (V, A, degC, kPa, ohm, lx, %) goes through `divider` or `pull_up`, and then
    through `points`, or `scale` and `offset`.

    Args:
        signal: what it feeds; a line feeds a switch, a channel a number. Which wire is the ignition only the owner's
            configuration may say.
        kind: see `InputKind`.
        place: a line's label ("GPIO17") or chip and offset ("/dev/gpiochip0:17"); for iio and hwmon what the device
            calls itself (its file `name`); a thermometer's id ("28-0316a2794bff"), or "" where there is only one.
        channel: for iio and hwmon, such as "in_voltage0", "in1" or "temp2".
        means: for a line that feeds a choice, which one it says while it is on.
        inverted: for lines, low means on.
        pull: for lines.
        debounce_s: for lines, how long a level must hold before it counts.
        period_s: for sensors, how often they are read.
        divider: ohms from the measured point to the converter, and from there to ground; the voltage before counts.
        pull_up: volts and ohms of the resistor that feeds a resistive sender; the sender's ohms count.
        points: piecewise linear table of (measured, value), ascending. Beyond its ends the sender is broken or
            shorted, and there is no value.
        scale, offset: in place of points; value = measured * scale + offset.
        unit: of the result if it is not the signal's stored one.
    """

    signal: str
    kind: InputKind
    place: str = ""
    channel: str = ""
    means: str = ""
    inverted: bool = False
    pull: Pull = Pull.AS_IS
    debounce_s: float = 0.02
    period_s: float = 1.0
    divider: tuple[float, float] | None = None
    pull_up: tuple[float, float] | None = None
    points: tuple[tuple[float, float], ...] = ()
    scale: float = 1.0
    offset: float = 0.0
    unit: str | None = None
