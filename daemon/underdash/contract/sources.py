"""Signals that are computed or wired instead of heard."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Input:
    """A wired line or sensor on the board.

    Args:
        signal: what it feeds.
        kind: "gpio", "iio", "hwmon" or "one_wire".
        place: line label, channel or serial number.
        scale, offset: applied to the raw number.
        inverted: for lines, True if low means on.
    """

    signal: str
    kind: str
    place: str
    scale: float = 1.0
    offset: float = 0.0
    inverted: bool = False
