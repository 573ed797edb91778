"""How sure an answer is, held against how often it is right: made-up cars, each turned by a forgetful person."""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from underdash.finding.heard import Bytes, Floats, Heard, Integers, Stream
from underdash.finding.ignition.search import ignition
from underdash.finding.marks import LATEST_S, Mark

CARS = 200
MISSED = 0.1
ROUNDS = (
    ("LOCK", "OFF", "ACC", "ON", "START", "running", "ON", "OFF", "LOCK"),
    ("OFF", "ACC", "ON", "START", "running", "OFF"),
    ("OFF", "ON", "OFF"),
    ("OFF", "ON", "START", "running", "OFF"),
    ("OFF", "ON", "OFF", "ON", "OFF"),
)
SPELT = ("LOCK", "OFF", "ACC", "ON", "START")
KEY = 0x100
BEGIN = 100.0


class Car:
    """One led recording: perhaps with the ignition (id 100), and with much that follows it."""

    def __init__(self, seed: int) -> None:
        self.chance = Random(seed)
        self._steady = np.random.default_rng(seed)
        self.positions = self.chance.choice(ROUNDS)
        lengths = [
            self.chance.uniform(0.8, 2.0) if one == "START" else self.chance.uniform(3, 9) for one in self.positions
        ]
        self.begins = BEGIN + np.concatenate(([0.0], np.cumsum(lengths)))
        self.lit = np.array([one in ("ON", "START", "running") for one in self.positions])
        self.running = np.array([one == "running" for one in self.positions])
        self.streams: list[Stream] = []
        self.has_key = self.chance.random() < 0.85
        if self.has_key:
            self.send(KEY, self._key(), self.chance.choice((0.02, 0.05, 0.1, 0.2)), self.chance.uniform(0, 0.02))
        for number in range(self.chance.choice((2, 5, 10, 20))):
            late = abs(self.chance.gauss(0.1, 0.25)) + 0.005
            self.send(KEY + 1 + number, self._other(), self.chance.choice((0.01, 0.05, 0.1, 0.2, 0.5)), late)
        self.heard = Heard(tuple(self.streams), BEGIN, float(self.begins[-1]))

    def marks(self) -> dict[str, list[Mark]]:
        said: dict[str, list[Mark]] = {}
        for begin, word in zip(self.begins.tolist(), self.positions, strict=False):
            if word == "ON" or self.chance.random() >= MISSED:
                said.setdefault(word, []).append(Mark(begin + self.chance.uniform(0, LATEST_S), word))
        return said

    def send(self, can_id: int, value: Callable[[Integers, Floats], Bytes], period_s: float, late_s: float) -> None:
        at = np.arange(BEGIN + self.chance.uniform(0, period_s), self.begins[-1], period_s)
        stay = np.clip(np.searchsorted(self.begins, at - late_s, side="right") - 1, 0, len(self.positions) - 1)
        data = np.zeros((len(at), 8), dtype=np.uint8)
        data[:, 0] = value(stay, at - late_s - self.begins[stay])
        data[:, 6] = np.arange(len(at)) & 15
        self.streams.append(Stream("body", can_id, False, at, np.full(len(at), 8, dtype=np.uint8), data))

    def _key(self) -> Callable[[Integers, Floats], Bytes]:
        """A field that tells two to five positions apart."""
        told, codes = self.chance.choice((2, 3, 4, 5, 5)), self.chance.sample(range(8), 5)
        lowest = 0 if told == 5 else 1 if told > 2 else 2
        place = [SPELT.index("ON" if one == "running" else one) for one in self.positions]
        raw = np.array([codes[min(max(one, lowest), 4 if told > 3 else 3)] for one in place], dtype=np.uint8)
        return lambda stay, since: raw[stay]

    def _other(self) -> Callable[[Integers, Floats], Bytes]:
        """Lamps, relays and control units that follow the ignition, or have nothing to do with it."""
        bit, low, ready, off = self.chance.randrange(8), *self.chance.sample(range(4), 3)
        lit, running = self.lit, self.running
        inverted = self.chance.random() < 0.4
        three = np.where(lit, np.where(running, ready, low), off).astype(np.uint8)
        kinds: tuple[Callable[[Integers, Floats], NDArray[Any]], ...] = (
            lambda stay, since: (lit[stay] ^ inverted).astype(np.uint8) << bit,
            lambda stay, since: three[stay] << 2,
            lambda stay, since: running[stay],
            lambda stay, since: lit[stay] & (since < 3.0),
            lambda stay, since: lit[stay] * np.clip(since * 9, 0, 255),
            lambda stay, since: self._steady.integers(0, 256, len(stay)),
        )
        kind = self.chance.choice((kinds[0], *kinds))
        return lambda stay, since: kind(stay, since).astype(np.uint8)


@pytest.fixture(scope="module")
def answers() -> list[tuple[float, bool]]:
    """How sure the best answer of each car is, and whether it is right."""
    found = []
    for seed in range(CARS):
        car = Car(seed)
        marks = car.marks()
        if not marks.keys() & {"LOCK", "OFF", "ACC"}:
            continue
        for rank in ignition(car.heard, marks).ranks[:1]:
            found.append((rank[0].confidence, rank[0].where.id == KEY))
    return found


@pytest.mark.parametrize(("least", "most"), [(0.0, 0.4), (0.4, 0.8), (0.8, 1.0)])
def test_answers_are_right_as_often_as_they_say_at_least(
    answers: list[tuple[float, bool]], least: float, most: float
) -> None:
    some = [(sure, right) for sure, right in answers if least <= sure < most]
    believed, right = (float(np.mean(column)) for column in zip(*some, strict=True))
    print(f"\nbelieved {100 * believed:.0f} %, right {100 * right:.0f} % of {len(some)}")
    assert len(some) >= 15
    assert right >= believed - 0.05
