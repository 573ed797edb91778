"""Charge of a lead-acid battery by its voltage at rest.

The voltage says something only hours after the last charge and with little load: the surface charge of a drive makes
it look full, a lamp makes it look emptier. So there is no charge while the engine runs and for `rest_s` after it.
What was before this accessory woke up is not known; then the charge is marked as assumed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from underdash import Age, Quality, Reading, Result

from .settings import Points, Settings

VOLTAGE = "low_voltage_battery.voltage"
ENGINE_SPEED = "engine.speed"


@dataclass(frozen=True, slots=True)
class Rest:
    """What is remembered between two steps.

    Args:
        quiet_s: for how long nothing has charged the battery, as far as was seen.
        charged: it was seen being charged since this accessory woke up.
    """

    quiet_s: float = 0.0
    charged: bool = False


def runs(inputs: Mapping[str, Reading], charging_v: float) -> bool | None:
    """Say whether the battery is being charged by the engine; None where nothing tells."""
    speed, voltage = inputs[ENGINE_SPEED], inputs[VOLTAGE]
    if isinstance(speed.value, float) and speed.age is Age.FRESH and speed.value >= 1.0:
        return True
    if isinstance(voltage.value, float):
        return voltage.value >= charging_v
    return None


def rest_step(settings: Settings) -> Callable[[Rest, Mapping[str, Reading], float], tuple[Rest, Result | None]]:
    """Return the step of the charge at rest under these settings."""

    def step(before: Rest, inputs: Mapping[str, Reading], dt_s: float) -> tuple[Rest, Result | None]:
        running = runs(inputs, settings.charging)
        if running is None:
            return replace(before, quiet_s=before.quiet_s + dt_s), None
        if running:
            return Rest(charged=True), None
        now = replace(before, quiet_s=before.quiet_s + dt_s)
        volts = inputs[VOLTAGE].value
        if not isinstance(volts, float) or (now.charged and now.quiet_s < settings.rest_s):
            return now, None
        seen = now.quiet_s >= settings.rest_s
        return now, Result(charge(volts, settings.rest), Quality.GOOD if seen else Quality.ASSUMED, (VOLTAGE,))

    return step


def charge(volts: float, points: Points) -> float:
    """Return the charge in per cent between the points of a table, its ends beyond them."""
    if volts <= points[0][0]:
        return points[0][1]
    for (low_v, low), (high_v, high) in pairwise(points):
        if volts <= high_v:
            return low + (high - low) * (volts - low_v) / (high_v - low_v)
    return points[-1][1]
