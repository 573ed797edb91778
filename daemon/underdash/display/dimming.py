"""How bright the panel is: a pure function of the car's dimming, what went before, and now.

The knob's position is taken as a wish for lightness as the eye sees it and turned into light by CIE 1976 lightness
(CIE 15), so that equal turns look like equal steps. What is stale keeps the last state: a lost frame must never step
a dark car to full light.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ..contract.errors import UnderdashError
from ..contract.signals import Age, Snapshot


class KnobApplies(StrEnum):
    """When the dashboard's dimming knob counts; many cars send it in the dark only."""

    NIGHT = "night"
    ALWAYS = "always"


@dataclass(frozen=True, slots=True)
class DimmingOptions:
    """What the owner can set.

    Args:
        floor: least light, more than 0, so that a knob turned down cannot make a page vanish.
        ceiling: most light.
        night_unset: light in the dark as long as no knob was heard.
        hysteresis: change of the knob (0..1) that is needed before the light follows.
        fade_s: time from dark to full light.
        knob_applies: whether the knob counts by day too.
    """

    floor: float = 0.03
    ceiling: float = 1.0
    night_unset: float = 0.25
    hysteresis: float = 0.02
    fade_s: float = 1.5
    knob_applies: KnobApplies = KnobApplies.NIGHT

    def __post_init__(self) -> None:
        if not 0.0 < self.floor <= self.ceiling <= 1.0:
            raise UnderdashError(
                f"display.dimming: floor {self.floor:g}, ceiling {self.ceiling:g}; allowed is 0 < floor <= ceiling <= 1"
            )
        if self.fade_s < 0 or not 0.0 <= self.hysteresis < 1.0:
            raise UnderdashError(
                f"display.dimming: fade_s {self.fade_s:g} and hysteresis {self.hysteresis:g}; fade_s is 0 or more, "
                "hysteresis from 0 to below 1"
            )


@dataclass(frozen=True, slots=True)
class DimmingInputs:
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


@dataclass(frozen=True, slots=True)
class Dimmed:
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

    def start(self) -> Dimmed:
        """Return the state before anything was heard: dark, so that the first page fades in."""
        return Dimmed(0.0)

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
        counts = night or options.knob_applies is KnobApplies.ALWAYS
        if not counts:
            return options.ceiling
        if knob is None:
            return max(options.floor, min(options.ceiling, options.night_unset)) if night else options.ceiling
        return options.floor + (options.ceiling - options.floor) * light(knob)

    def _faded(self, before: Dimmed, aim: float, now: float) -> float:
        if self._options.fade_s == 0:
            return aim
        passed = 0.0 if before.at is None else max(now - before.at, 0.0)
        # fading in lightness, not in light: halfway looks halfway
        seen, wanted = lightness(before.level), lightness(aim)
        most = passed / self._options.fade_s
        if abs(wanted - seen) <= most:
            return aim
        return light(seen + (most if wanted > seen else -most))


def light(seen: float) -> float:
    """Return the linear light (0..1) that looks as bright as `seen` (0..1); CIE 1976 L*, inverted."""
    scaled = seen * 100.0
    return scaled / 903.2963 if scaled <= 8.0 else ((scaled + 16.0) / 116.0) ** 3


def lightness(level: float) -> float:
    """Return how bright a linear light (0..1) looks, 0..1; CIE 1976 L*."""
    return level * 9.032963 if level <= 0.008856 else 1.16 * level ** (1 / 3) - 0.16
