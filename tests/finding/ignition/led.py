"""Led recordings of the simulated cars: a person turns the ignition through all positions and says so, late."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from random import Random

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits
from underdash.finding.heard import Heard
from underdash.finding.marks import Mark
from underdash.finding.reading import heard_from
from underdash.simulator import practice
from underdash.simulator.car import SimulatedCar
from underdash.simulator.cars import simulated
from underdash.simulator.driver import Phase
from underdash.wiring.installed import car_of_any, load_with

LED = (*practice.LED[:5], replace(practice.LED[5], what="running"), *practice.LED[6:])
IGNITION = {"tarn": Bits(0, 3, 2), "loris": Bits(0, 3, 6)}
"""Where the description of the car has it."""
OTHERS = 0x3F5
"""An id of doors, key, alarm, and of a lamp in byte 0 bit 5."""
DEEDS = (("door", 1.5, 3.0), ("key", 4.0, 4.3), ("door", 37.0, 39.0), ("alarm", 43.0, 47.0), ("key", 42.5, 42.8))
LATE_S = 0.7


def led_recording(
    car: str, seed: int, phases: Sequence[Phase] = LED, *, doing: bool = True
) -> tuple[Heard, list[Mark], Bits]:
    """Return what was heard, the marks, and where the ignition is."""
    late = Random(seed)
    length, marks, begin = sum(phase.seconds for phase in phases), [], 0.0
    for phase in phases:
        if phase.what != "asleep":
            marks.append(Mark(100.0 + begin + late.uniform(0.0, LATE_S), phase.what))
        begin += phase.seconds
    bus, sent = _drive(car, tuple(phases))
    frames = list(sent)
    if doing:
        marks += [Mark(100.0 + at + late.uniform(0.0, LATE_S), word) for word, at, _ in DEEDS]
        frames += [(bus, frame) for frame in _beside(phases, length)]
    return heard_from(sorted(frames, key=lambda one: one[1].at)), marks, IGNITION[car]


@lru_cache(maxsize=4)
def _drive(car: str, phases: tuple[Phase, ...]) -> tuple[str, tuple[tuple[str, Frame], ...]]:
    """Return a bus of the car, and what it sends."""
    description, _ = car_of_any(car, load_with([]))
    simulation = SimulatedCar(description, simulated(car)[0], phases, seed=1)
    simulation.advance(100.0)
    frames = simulation.advance(100.0 + sum(phase.seconds for phase in phases))
    return description.buses[-1].role, tuple(frames)


def _beside(phases: Sequence[Phase], length: float) -> list[Frame]:
    """Frames of a body control unit; a lamp is lit while the ignition is on, and while a door is open."""
    frames = []
    for number in range(int((length - 3.0) * 10)):
        at = 0.1 * number
        done = {word for word, begin, end in DEEDS if begin <= at < end}
        ends = [sum(phase.seconds for phase in phases[: place + 1]) for place in range(len(phases))]
        position = phases[next(place for place, end in enumerate(ends) if at < end)].ignition
        lit = position in ("ON", "START") or "door" in done
        bits = ("door" in done) | ("key" in done) << 1 | ("alarm" in done) << 2 | lit << 5
        frames.append(Frame(OTHERS, bytes((bits, 0x40)), at=100.0 + at))
    return frames
