"""How bright the panel is: a pure function of the car's dimming, what went before, and now.

The knob's position is taken as a wish for lightness as the eye sees it and turned into light by a power, so that equal
turns look like equal steps; changes fade in lightness too. What is stale keeps the last state: a lost frame must never
step a dark car to full light.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from ..contract.errors import UnderdashError
from ..contract.signals import Age, Snapshot

LEAST_LIGHT = 0.01
"""Nothing that is set may make a page vanish altogether."""


@dataclass(frozen=True, slots=True)
class DimmingOptions:
    """What the owner can set.

    Args:
        floor, ceiling: light at the dark and at the bright end of the knob, 0..1.
        curve: exponent between them; 2.2 looks even to the eye.
        night: light in the dark as long as no knob was heard.
        hysteresis: change of the knob (0..1) that is needed before the light follows.
        fade_s: time a change from dark to full light takes.
        knob_applies: "night" or "always"; many cars send the knob in the dark only.
    """

    floor: float = 0.04
    ceiling: float = 1.0
    curve: float = 2.2
    night: float = 0.3
    hysteresis: float = 0.02
    fade_s: float = 0.6
    knob_applies: Literal["night", "always"] = "night"

    def __post_init__(self) -> None:
        if not 0.0 <= self.floor <= self.ceiling <= 1.0:
            raise UnderdashError(
                f"dimming: floor {self.floor:g}, ceiling {self.ceiling:g}; allowed is 0 <= floor <= ceiling <= 1"
            )
        if self.fade_s < 0 or not 0.0 <= self.hysteresis < 1.0 or self.curve <= 0:
            raise UnderdashError(
                f"dimming: fade_s {self.fade_s:g}, hysteresis {self.hysteresis:g}, curve {self.curve:g}; fade_s is 0 "
                "or more, hysteresis from 0 to below 1, curve more than 0"
            )


class DimmingInputs(NamedTuple):
    """What the car says now; None where it says nothing or what it said is stale."""

    brightness: float | None = None
    night: bool | None = None

    @classmethod
    def read(cls, snapshot: Snapshot) -> DimmingInputs:
        """Return what a snapshot says; only fresh values count."""
        knob, night = snapshot.reading("dashboard.brightness"), snapshot.reading("dashboard.night")
        return cls(
            float(knob.value) if knob.age is Age.FRESH and isinstance(knob.value, int | float) else None,
            bool(night.value) if night.age is Age.FRESH and isinstance(night.value, bool) else None,
        )


class Dimmed(NamedTuple):
    """The state: light now (0..1, linear), whether it is night, and what it rests on."""

    level: float
    night: bool = False
    knob: float | None = None
    at: float | None = None


class Dimming:
    """The rule; it keeps nothing, the caller keeps the `Dimmed` it gave.

    Args:
        options: what the owner set.
    """

    def __init__(self, options: DimmingOptions | None = None) -> None:
        self._options = options or DimmingOptions()

    def start(self, level: float = 0.0) -> Dimmed:
        """Return the state before anything was heard: dark, so that the first page fades in, or what is lit already."""
        return Dimmed(level)

    def step(self, before: Dimmed, inputs: DimmingInputs, now: float) -> Dimmed:
        """Return the next state.

        Args:
            before: what the last step returned.
            inputs: what the car says.
            now: monotonic seconds.
        """
        night = before.night if inputs.night is None else inputs.night
        knob = before.knob
        heard = inputs.brightness
        if heard is not None and (knob is None or abs(heard - knob) >= self._options.hysteresis or heard in (0.0, 1.0)):
            knob = min(max(heard, 0.0), 1.0)
        aim = self.aim(night, knob)
        return Dimmed(self._faded(before, aim, now), night, knob, now)

    def aim(self, night: bool, knob: float | None) -> float:
        """Return the light that a state leads to."""
        options = self._options
        if not night and options.knob_applies == "night":
            return max(options.ceiling, LEAST_LIGHT)
        if knob is None:
            level = min(max(options.night, options.floor), options.ceiling) if night else options.ceiling
        else:
            level = options.floor + (options.ceiling - options.floor) * knob**options.curve
        return max(level, LEAST_LIGHT)

    def _faded(self, before: Dimmed, aim: float, now: float) -> float:
        if self._options.fade_s == 0:
            return aim
        passed_s = 0.0 if before.at is None else max(now - before.at, 0.0)
        # halfway through a fade must look halfway, so it runs in lightness and not in light
        curve = self._options.curve
        seen, wanted = before.level ** (1 / curve), aim ** (1 / curve)
        most = passed_s / self._options.fade_s
        if abs(wanted - seen) <= most:
            return aim
        return float((seen + (most if wanted > seen else -most)) ** curve)
