"""Recordings to practise finding on: an invented car, a person who does one thing at a time and notes it a little late.

Each lesson is what DEVELOPERS.md advises to record in a real car. Everything is repeatable: it comes from the seed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import accumulate
from random import Random

from ..bus.frames import Frame
from ..contract.cars import CarDescription
from ..contract.errors import GivenError
from ..contract.requests import PollRequest
from ..diagnostics import single_frame
from ..signals.catalogue import CATALOGUE
from .car import SimulatedCar
from .driver import Phase, Press, Script, length_s
from .models import ModelMaker
from .tester import OtherTester, Question

BEGIN_S = 100.0
"""When a practice recording begins, in its own clock: nobody's clock begins at 0."""
STEP_S = 0.005
LATE_S = (0.1, 0.5)
"""How long a person takes to note what they did (common practice: a simple reaction takes 0.2 to 0.3 s)."""
QUIET_S = 20.0
SATELLITE_LAG_S, SATELLITE_NOISE_KMH = 0.3, 0.2
"""A receiver's filter and its noise (our choice; a recording of a real one had 0.18 and 0.35 s)."""
SHOWN_S, STEADY_S, TYPED_S = 60.0, 12.0, 9.0
"""How long a tester shows one value, how long the driver holds a speed, and after how long of that a number is read."""
ASKED_EVERY_S = 0.25
WORDS = {"LOCK", "OFF", "ACC", "ON", "START"}

AT_REST = Phase("engine at rest", QUIET_S, "ON", lights=False, knob=1.0, daylight=1.0)
LED: Script = (
    Phase("LOCK", 5, "LOCK"),
    Phase("OFF", 4, "OFF"),
    Phase("ACC", 4, "ACC"),
    Phase("ON", 5, "ON"),
    Phase("START", 1.6, "START"),
    Phase("ON", 8, "ON"),
    Phase("ON", 5, "ON", engine_stop=True),
    Phase("OFF", 5, "OFF"),
    Phase("LOCK", 20, "LOCK"),
    Phase("asleep", 3, "LOCK", awake=False),
)
KNOB: Script = (
    AT_REST,
    Phase("dark", 8, "ON", lights=True, knob=1.0, daylight=0.05),
    Phase("knob", 6, "ON", lights=True, knob=0.0),
    Phase("knob", 6, "ON", lights=True, knob=1.0),
    Phase("rest", 6, "ON", lights=True),
    Phase("knob", 6, "ON", lights=True, knob=0.0),
    Phase("knob", 6, "ON", lights=True, knob=1.0),
    Phase("rest", 6, "ON", lights=True),
)
STARTED: Script = (Phase("ignition on", 2, "ON"), Phase("starter", 1.6, "START"))
DRIVE: Script = (
    *STARTED,
    Phase("idle", 10),
    *(Phase(f"at {speed}", 25, speed_kmh=speed) for speed in (48, 90, 30, 75, 20, 60)),
    Phase("pull", 15, speed_kmh=95, pedal=0.95),
    Phase("stop", 25),
)
HELD = (0.22, 0.31, 0.25, 0.4, 0.28)


@dataclass(frozen=True, slots=True)
class Practice:
    """A recording.

    Attributes:
        frames: (role of the bus, frame) in order of time.
        marks: (begin, end or None, word) in the recording's clock.
        speed: (seconds, km/h) as a satellite receiver tells it; only of a drive.
    """

    frames: tuple[tuple[str, Frame], ...]
    marks: tuple[tuple[float, float | None, str], ...]
    speed: tuple[tuple[float, float], ...] = ()


def lessons(car: CarDescription) -> tuple[str, ...]:
    """Return what can be practised on a car: each of its buttons, and what every car has."""
    asked = ("tester",) if _own_format(car) else ()
    return ("ignition", *(name for name, _ in car.buttons), "knob", "drive", *asked)


def practice(car: CarDescription, model: ModelMaker, lesson: str, seed: int = 1) -> Practice:
    """Record a lesson.

    Raises:
        GivenError: there is none of this name.
    """
    if lesson not in lessons(car):
        raise GivenError(f"there is no lesson {lesson!r} for {car.name}; there are {', '.join(lessons(car))}")
    rng = Random(f"{seed} {lesson}")
    if lesson == "ignition":
        return _recorded(car, model, LED, seed, _late(_positions(), rng))
    if lesson == "knob":
        return _recorded(car, model, KNOB, seed, _intervals(KNOB, "knob", rng))
    if lesson == "drive":
        made = _recorded(car, model, DRIVE, seed, ())
        return replace(made, speed=_satellite(car, model, seed, rng))
    if lesson == "tester":
        return _asked(car, model, seed, rng)
    script, presses = _presses(lesson, rng)
    return _recorded(car, model, script, seed, _late(presses, rng))


# --- what is done, and when it is noted -------------------------------------------------------------------------

Mark = tuple[float, float | None, str]


def _positions() -> list[tuple[float, str]]:
    begins = [0.0, *accumulate(phase.seconds for phase in LED)]
    return [(begin, phase.what) for begin, phase in zip(begins, LED, strict=False) if phase.what in WORDS]


def _presses(button: str, rng: Random) -> tuple[Script, list[tuple[float, str]]]:
    """Five presses at uneven times, after a quiet while in which nobody touches anything."""
    times = [*accumulate(rng.uniform(3.0, 6.0) for _ in HELD)]
    presses = tuple(Press(button, at, held) for at, held in zip(times, HELD, strict=True))
    script = (AT_REST, Phase("presses", times[-1] + 5.0, "ON", presses=presses))
    return script, [(QUIET_S + at, button) for at in times]


def _late(done: list[tuple[float, str]], rng: Random) -> tuple[Mark, ...]:
    return tuple((BEGIN_S + at + rng.uniform(*LATE_S), None, word) for at, word in done)


def _intervals(script: Script, word: str, rng: Random) -> tuple[Mark, ...]:
    begins = [0.0, *accumulate(phase.seconds for phase in script)]
    found = []
    for begin, phase in zip(begins, script, strict=False):
        if phase.what == word:
            late = BEGIN_S + begin + rng.uniform(*LATE_S)
            found.append((late, late + phase.seconds - 1.0, word))
    return tuple(found)


# --- what is heard ----------------------------------------------------------------------------------------------


def _recorded(car: CarDescription, model: ModelMaker, script: Script, seed: int, marks: tuple[Mark, ...]) -> Practice:
    simulated = SimulatedCar(car, model, script, seed)
    simulated.advance(BEGIN_S)
    frames = simulated.advance(BEGIN_S + length_s(script))
    return Practice(tuple(sorted(frames, key=lambda pair: pair[1].at)), marks)


def _satellite(car: CarDescription, model: ModelMaker, seed: int, rng: Random) -> tuple[tuple[float, float], ...]:
    simulated = SimulatedCar(car, model, DRIVE, seed)
    simulated.advance(BEGIN_S)
    rows = []
    for second in range(int(length_s(DRIVE))):
        at = BEGIN_S + second
        speed = simulated.truth(at)["vehicle.speed"]
        if isinstance(speed, float):
            rows.append((at + SATELLITE_LAG_S, max(0.0, speed + rng.gauss(0.0, SATELLITE_NOISE_KMH))))
    return tuple(rows)


def _own_format(car: CarDescription) -> list[PollRequest]:
    formats = {form.name for form in car.formats}
    return [poll for poll in car.polls if poll.protocol in formats and poll.fields]


def _asked(car: CarDescription, model: ModelMaker, seed: int, rng: Random) -> Practice:
    """Somebody's tester shows one value after the other in the maker's own format, and a passenger types some."""
    formats, units = {form.name: form for form in car.formats}, {unit.name: unit for unit in car.units}
    script = (*STARTED, *(Phase("steady", STEADY_S, speed_kmh=speed) for speed in (0, 45, 90, 60, 110, 30) * 6))
    simulated = SimulatedCar(car, model, script, seed)
    simulated.advance(BEGIN_S)
    frames: list[tuple[str, Frame]] = []
    marks: list[Mark] = []
    at = BEGIN_S + length_s(STARTED)
    for poll in _own_format(car):
        unit, word = units[poll.unit], poll.fields[0].signal
        data = single_frame.encode(formats[poll.protocol], unit, poll.identifier)
        tester = OtherTester([Question(unit, data, every_s=ASKED_EVERY_S, raw=True)])
        marks.append((at + rng.uniform(*LATE_S), at + SHOWN_S - 1.0, f"{word} only"))
        typed_at = at + TYPED_S
        for now in _steps(at, SHOWN_S):
            frames += simulated.advance(now)
            for role, request in tester.advance(now):
                padded = replace(request, data=request.data.ljust(8, bytes((unit.padding or 0,))))
                frames += [(role, padded), *((role, frame) for _, frame in simulated.answer(role, padded, now))]
            if now >= typed_at:
                typed_at += STEADY_S
                value = simulated.truth(now)[poll.fields[0].signal]
                marks.append((now + rng.uniform(*LATE_S), None, f"{word} {value:.1f} {CATALOGUE[word].unit}"))
        at += SHOWN_S
    return Practice(tuple(sorted(frames, key=lambda pair: pair[1].at)), tuple(marks))


def _steps(begin: float, seconds: float) -> Iterator[float]:
    yield from (begin + step * STEP_S for step in range(int(seconds / STEP_S)))
