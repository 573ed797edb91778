"""The air pressure outside, seen on the engine at rest.

With the ignition on and the engine stopped, the sensor in the inlet shows ambient pressure. After three seconds of
that it is taken, renewed for as long as the engine rests, and kept with its age while it runs. Until the first time a
configured constant stands in. A barometer, where the car has one, is a better source of ``ambient.pressure`` and goes
before this one by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from underdash import Age, Quality, Reading, Result

from .settings import Settings

IGNITION = "vehicle.ignition"
ENGINE_SPEED = "engine.speed"
MANIFOLD = "engine.manifold_pressure"
CHARGE = "engine.charge_pressure"
AMBIENT = "ambient.pressure"

STILL_S = 3.0
MOST_STEP_S = 1.0
"""A longer gap between two looks proves nothing about what was between them, so no more of it counts as rest."""

PLAUSIBLE_KPA = (45.0, 110.0)
"""From above the highest road to below the lowest valley in a high; outside, the sensor or its line is broken."""

AVERAGED = 0.3
"""Weight of the newest sample in the running mean: it takes out the last digit's flicker."""


@dataclass(frozen=True, slots=True)
class Reference:
    """What is remembered between two steps.

    Args:
        still_s: how long the engine has been at rest with the ignition on.
        kpa: ambient pressure as seen last, None if never.
        age_s: how long ago that was.
    """

    still_s: float = 0.0
    kpa: float | None = None
    age_s: float = 0.0


def follow(before: Reference, inputs: Mapping[str, Reading], dt_s: float) -> Reference:
    """Return what is remembered after one more look.

    Args:
        before: what was remembered.
        inputs: ignition, engine speed, manifold and charge pressure.
        dt_s: time since the last look.
    """
    older = replace(before, age_s=before.age_s + dt_s)
    seen = _pressure(inputs)
    if seen is None or not _at_rest(inputs):
        return replace(older, still_s=0.0)
    still_s = before.still_s + min(dt_s, MOST_STEP_S)
    if still_s < STILL_S:
        return replace(older, still_s=still_s)
    # the first value of a stop counts whole: the old one may be from another height
    fresh = before.kpa is None or before.still_s < STILL_S
    kpa = seen if fresh or before.kpa is None else before.kpa + (seen - before.kpa) * AVERAGED
    return Reference(still_s, kpa, 0.0)


def ambient_step(
    settings: Settings,
) -> Callable[[Reference, Mapping[str, Reading], float], tuple[Reference, Result | None]]:
    """Return the step of ``ambient.pressure`` under these settings."""

    def step(before: Reference, inputs: Mapping[str, Reading], dt_s: float) -> tuple[Reference, Result | None]:
        now = follow(before, inputs, dt_s)
        if now.kpa is None:
            return now, Result(settings.assumed_ambient_kpa, Quality.ASSUMED)
        dated = now.age_s > settings.reference_limit_s
        return now, Result(now.kpa, Quality.DATED if dated else Quality.GOOD)

    return step


def reference_age_step(
    before: Reference, inputs: Mapping[str, Reading], dt_s: float
) -> tuple[Reference, Result | None]:
    """Give the age of the reference; nothing as long as there is none."""
    now = follow(before, inputs, dt_s)
    return now, None if now.kpa is None else Result(now.age_s)


def _at_rest(inputs: Mapping[str, Reading]) -> bool:
    ignition, speed = inputs[IGNITION], inputs[ENGINE_SPEED]
    return (
        ignition.age is Age.FRESH
        and ignition.value == "ON"
        and speed.age is Age.FRESH
        and isinstance(speed.value, float)
        and speed.value < 1.0
    )


def _pressure(inputs: Mapping[str, Reading]) -> float | None:
    for name in (MANIFOLD, CHARGE):
        reading = inputs[name]
        value = reading.value
        if reading.age is Age.FRESH and reading.quality is Quality.GOOD and isinstance(value, float):
            return value if PLAUSIBLE_KPA[0] <= value <= PLAUSIBLE_KPA[1] else None
    return None
