"""For the plug-ins that bring cars: drive a description round once, from the model's truth to frames and back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from underdash.broadcast.dispatch import register
from underdash.bus.table import Table
from underdash.config.cars import read_car
from underdash.contract.cars import CarDescription
from underdash.contract.layout import Field
from underdash.contract.signals import Value
from underdash.diagnostics.asking import Asking, Wish
from underdash.diagnostics.polls import CompiledPoll
from underdash.diagnostics.requests import compile_polls
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Slot, Store
from underdash.simulator.car import STEP_S, SimulatedCar
from underdash.simulator.cars import simulated


@dataclass
class Circle:
    """What came round.

    Attributes:
        compared: how often a decoded value was held against the truth, by signal.
        worst: largest difference in steps of the field's resolution, by signal; 0.5 is what rounding does.
        wrong: choices and switches that differed.
        seen: different values that were decoded, by signal.
        problems: what broadcasts or polls were left out, and why.
        damaged: frames that failed a check or had values "not available".
    """

    compared: dict[str, int] = field(default_factory=dict)
    worst: dict[str, float] = field(default_factory=dict)
    wrong: list[tuple[str, Value | None, Value]] = field(default_factory=list)
    seen: dict[str, set[Value]] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)
    damaged: int = 0

    def compare(self, one: Field, slot: Slot, truth: Mapping[str, Value]) -> None:
        """Hold a decoded value against the truth."""
        name, true, value = one.signal, truth[one.signal], slot.value
        self.compared[name] = self.compared.get(name, 0) + 1
        if value is not None:
            self.seen.setdefault(name, set()).add(value)
        if isinstance(true, float) and isinstance(value, float):
            steps = abs(value - true) / abs(one.scale)
            self.worst[name] = max(steps, self.worst.get(name, 0.0))
        elif value != true:
            self.wrong.append((name, value, true))


ReadCar = Callable[[Path], CarDescription]
FullCircle = Callable[[Path, float, float], Circle]


def _read(path: Path) -> CarDescription:
    return read_car(path, signals=CATALOGUE)


def _drive(path: Path, first_s: float, seconds: float) -> Circle:
    """Simulate the car of a file (its name is the car's); compare all frames from `first_s` on, for `seconds`."""
    description = _read(path)
    car = SimulatedCar(description, *simulated(description.name), seed=7)
    circle, store = Circle(), Store(CATALOGUE)
    tables = {bus.role: Table() for bus in description.buses}
    heard = register(description.broadcasts, store, tables, CATALOGUE)
    compiled = compile_polls(description, description.polls, (), store)
    asking = Asking(compiled.polls)
    circle.problems = heard.problems + compiled.problems
    fields = {(d.listener.bus, d.key): d.listener.fields for d in heard.decoders}
    truth: dict[str, Value] = {}
    for step in range(round((first_s + seconds) / STEP_S)):
        now = step * STEP_S
        frames = car.advance(now)
        if now <= first_s:
            truth = car.truth(now)
            continue
        # these frames were made before this step of the model, so it is the truth of the last one that they tell
        for bus, frame in frames:
            handler = tables[bus].get(frame.key)
            if handler is not None:
                handler(frame.data, frame.at)
                for one in fields[bus, frame.key]:
                    circle.compare(one, store.slots(one.signal)[0], truth)
        truth = car.truth(now)
        poll = asking.polls[step % len(asking.polls)]
        if _asked(asking, car, poll, now):
            for one in poll.fields:
                circle.compare(one, poll.slots[one.signal], truth)
    counts = heard.counts().values()
    circle.damaged = sum(c.short + c.checksum + c.jumped + c.repeated + c.unavailable for c in counts)
    return circle


def _asked(asking: Asking, car: SimulatedCar, poll: CompiledPoll, now: float) -> bool:
    """Ask for a value and hear the whole answer, with flow control where it takes several frames; false if refused."""
    wishes: list[Wish] = []
    asking.reply = lambda wish, at: wishes.append(wish)
    asking.sent(poll, now)
    coming = [(now + after_s, frame) for after_s, frame in car.answer(poll.bus, poll.frame, now)]
    answered = False
    while coming:
        at, frame = coming.pop(0)
        asking.handle(poll.bus, frame.key, frame.data, at)
        answered |= b"\x7f" not in frame.data[1:3]
        for wish in wishes:
            coming += [(at + after_s, later) for after_s, later in car.answer(wish.bus, wish.frame, at)]
        wishes.clear()
    return answered


@pytest.fixture(scope="session")
def read() -> ReadCar:
    """Reads a car's file and raises with all its mistakes."""
    return _read


@pytest.fixture(scope="session")
def full_circle() -> FullCircle:
    """Drives a car's file round once: (file, seconds to skip, seconds to compare) -> what came round."""
    return _drive
