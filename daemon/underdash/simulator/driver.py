"""The driver: reads a script and works key, pedals, lights and buttons as a person would, roughly.

A script is a tuple of phases. What a phase does not mention stays as it was (lights, knob, daylight) or is let go
(buttons); the car stands unless a speed is given.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from ..contract.errors import UnderdashError
from ..signals.catalogue import IGNITION_POSITIONS
from .engine import clamp

KNOB_PER_S = 0.25


@dataclass(frozen=True, slots=True)
class Press:
    """Hold a button down for `for_s` seconds, `after_s` into the phase."""

    button: str
    after_s: float
    for_s: float = 0.2


@dataclass(frozen=True, slots=True)
class Phase:
    """One thing the driver does.

    Args:
        what: short name, for reports ("pull hard on the climb").
        seconds: for how long.
        ignition: position of the key, one of LOCK, OFF, ACC, ON, START.
        awake: False while nobody has touched the car, or long after: the after-run is over and no bus talks.
        speed_kmh: speed to reach and hold.
        pedal: accelerator 0..1 held until `speed_kmh` is reached; None lets the driver choose.
        engine_stop: the engine stops although the ignition is on.
        climb_to_m: altitude to be reached at the end of the phase.
        lights, knob, daylight: lights on, dimming knob 0..1, daylight 0..1; None leaves them.
        presses: buttons.
    """

    what: str
    seconds: float
    ignition: str = "ON"
    awake: bool = True
    speed_kmh: float = 0.0
    pedal: float | None = None
    engine_stop: bool = False
    climb_to_m: float | None = None
    lights: bool | None = None
    knob: float | None = None
    daylight: float | None = None
    presses: tuple[Press, ...] = ()


Script = tuple[Phase, ...]


@dataclass(slots=True)
class Controls:
    """What the driver does to the car during one step."""

    ignition: str = "LOCK"
    awake: bool = False
    driving: bool = False
    pedal: float = 0.0
    brake: float = 0.0
    engine_stop: bool = False
    climb_m_s: float = 0.0
    lights: bool = False
    knob: float = 1.0
    daylight: float = 1.0
    pressed: frozenset[str] = frozenset()


def length_s(script: Script) -> float:
    """Return how long a script takes."""
    return sum(phase.seconds for phase in script)


class Driver:
    """Interprets a script; after its end the last phase goes on.

    Args:
        script: the phases.
        rng: for a foot and an eye that are not quite steady.

    Raises:
        UnderdashError: the script is empty, a phase takes no time, or it names an unknown position of the key.
    """

    def __init__(self, script: Script, rng: Random) -> None:
        _check(script)
        self.script = script
        self._rng = rng
        self._index = 0
        self._began_s = 0.0
        self._sum = 0.0
        self._aim_kmh = 0.0
        self._drift_kmh = 0.0
        self._pulling = False
        self.controls = Controls()
        self._knob = self.controls.knob
        self._enter(script[0])

    @property
    def phase(self) -> Phase:
        """The phase the driver is in."""
        return self.script[self._index]

    def step(self, at_s: float, speed_kmh: float, altitude_m: float, dt_s: float) -> Controls:
        """Return what the driver does, `at_s` seconds into the script."""
        while self._index + 1 < len(self.script) and at_s >= self._began_s + self.phase.seconds:
            self._began_s += self.phase.seconds
            self._index += 1
            self._enter(self.phase)
        phase, controls = self.phase, self.controls
        into_s = at_s - self._began_s
        controls.pressed = frozenset(
            press.button for press in phase.presses if press.after_s <= into_s < press.after_s + press.for_s
        )
        controls.knob += clamp(self._knob - controls.knob, -KNOB_PER_S * dt_s, KNOB_PER_S * dt_s)
        controls.climb_m_s = 0.0
        left_s = phase.seconds - into_s
        if phase.climb_to_m is not None and left_s > 0.0:
            controls.climb_m_s = (phase.climb_to_m - altitude_m) / max(left_s, 1.0)
        self._pedals(phase, speed_kmh, dt_s)
        return controls

    def _enter(self, phase: Phase) -> None:
        controls = self.controls
        controls.ignition, controls.awake, controls.engine_stop = phase.ignition, phase.awake, phase.engine_stop
        if phase.lights is not None:
            controls.lights = phase.lights
        if phase.knob is not None:
            self._knob = phase.knob
        if phase.daylight is not None:
            controls.daylight = phase.daylight
        self._pulling = phase.pedal is not None

    def _pedals(self, phase: Phase, speed_kmh: float, dt_s: float) -> None:
        controls = self.controls
        controls.driving = phase.speed_kmh > 0.0 or speed_kmh > 0.5
        # eye: the speed the driver means to hold wanders, and changes of aim are not instant
        self._drift_kmh += self._rng.gauss(0.0, 0.35) * dt_s**0.5 - self._drift_kmh * dt_s / 15.0
        aim = max(phase.speed_kmh + self._drift_kmh, 0.0) if phase.speed_kmh > 0.0 else 0.0
        self._aim_kmh += clamp(aim - self._aim_kmh, -4.0 * dt_s, 5.0 * dt_s)
        if self._pulling and phase.pedal is not None and speed_kmh < phase.speed_kmh:
            controls.brake = 0.0
            controls.pedal += (phase.pedal - controls.pedal) * dt_s / (0.15 + dt_s)
            self._aim_kmh = speed_kmh
            return
        self._pulling = False
        error = self._aim_kmh - speed_kmh
        self._sum = clamp(self._sum + error * dt_s * 0.006, 0.0, 0.7) if controls.driving else 0.0
        wanted = clamp(0.045 * error + self._sum) if phase.speed_kmh > 0.0 or error > 0.0 else 0.0
        controls.pedal += (wanted - controls.pedal) * dt_s / (0.25 + dt_s)
        if wanted == 0.0 and controls.pedal < 0.02:
            controls.pedal = 0.0
        stand = phase.speed_kmh == 0.0 and speed_kmh < 6.0
        controls.brake = 0.3 if stand else clamp((-error - 3.0) * 0.06)


def _check(script: Script) -> None:
    if not script:
        raise UnderdashError("the driver's script is empty; it needs at least one phase")
    for phase in script:
        if phase.seconds <= 0.0:
            raise UnderdashError(f"phase {phase.what!r} takes {phase.seconds} s; it must take more than 0")
        if phase.ignition not in IGNITION_POSITIONS:
            raise UnderdashError(
                f"phase {phase.what!r} turns the key to {phase.ignition!r}; allowed are {', '.join(IGNITION_POSITIONS)}"
            )
