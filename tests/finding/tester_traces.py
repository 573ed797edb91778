"""Traces of a tester that somebody else runs, made with the simulator's control units, for the tests of finding."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from heapq import heappop, heappush
from itertools import count
from random import Random

from underdash.bus.frames import Frame
from underdash.contract.cars import CarDescription
from underdash.contract.requests import ControlUnit, SingleFrameFormat
from underdash.contract.signals import Value
from underdash.diagnostics import single_frame
from underdash.finding.heard import Heard
from underdash.finding.reading import heard_from
from underdash.simulator.car import SimulatedCar
from underdash.simulator.driver import Phase
from underdash.simulator.models import ModelMaker
from underdash.simulator.tester import OtherTester, Question
from underdash.simulator.turbo_car import TurboDesign
from underdash.simulator.units import SimulatedUnit

Log = list[tuple[str, Frame]]
Asked = tuple[ControlUnit, bytes]
"""Whom, and the data of a whole frame."""

SIGNALS = (
    "engine.manifold_pressure", "engine.charge_pressure", "engine.charge_temperature", "exhaust.temperature",
    "engine.oil_temperature", "gearbox.oil_temperature", "engine.coolant_temperature", "engine.speed",
)  # fmt: skip


def values_at(at: float, seed: int = 0) -> dict[str, Value]:
    """Return true values that move, each in its own way."""

    def wave(n: int, low: float, high: float) -> float:
        slow = math.sin(at / (7.0 + 3.1 * n) + seed + n) + 0.4 * math.sin(at / (1.3 + 0.37 * n) + 2 * seed + n)
        return low + (high - low) * (0.5 + slow / 2.8)

    spans = ((40, 230), (95, 240), (10, 110), (150, 850), (60, 130), (40, 110), (60, 105), (700, 5200))
    return {name: wave(n, *span) for n, (name, span) in enumerate(zip(SIGNALS, spans, strict=True))}


@dataclass
class Wire:
    """A bus with control units on it, a tester, and whoever else talks."""

    units: Sequence[SimulatedUnit]
    rng: Random
    bus: str = "drive"
    log: Log = field(default_factory=list)
    _order: count[int] = field(default_factory=count)

    def ask(self, asked: Iterable[tuple[float, Asked]]) -> None:
        """Send requests at their times; a unit that answers in several frames is told to go on."""
        due: list[tuple[float, int, ControlUnit, bytes, bool]] = []
        for at, (unit, data) in asked:
            heappush(due, (at, next(self._order), unit, data, True))
        while due:
            at, _, unit, data, request = heappop(due)
            can_id = unit.request_id if request else unit.response_id
            self.log.append((self.bus, Frame(can_id, data, unit.extended, at)))
            if not request:
                if data[0 if unit.reply_prefix is None else 1] >> 4 == 1 and not self._one_frame(unit):
                    head = b"" if unit.address is None else bytes((unit.address,))
                    flow = padded(unit, head + b"\x30\x00\x00")
                    heappush(due, (at + 0.001, next(self._order), unit, flow, True))
                continue
            for one in self.units:
                if (one.unit.request_id, one.unit.extended) == (unit.request_id, unit.extended):
                    for delay_s, said in one.answer(data, values_at(at), at):
                        entry = (at + delay_s, next(self._order), one.unit, padded(one.unit, said), False)
                        heappush(due, entry)

    def _one_frame(self, unit: ControlUnit) -> bool:
        return any(one.unit == unit and bool(one._formats) for one in self.units)

    def talk(self, begin: float, end: float, how_many: int = 12) -> None:
        """Let frames be sent by themselves: constants, counters shared by two frames, quantities that wander."""
        rng = self.rng
        for n in range(how_many):
            can_id, period = 0x100 + 0x13 * n, rng.choice((0.01, 0.02, 0.05, 0.1, 0.2))
            body, at, number = bytearray(rng.randrange(256) for _ in range(8)), begin + rng.random() * period, 0
            moving = rng.sample(range(8), n % 4)
            while at < end:
                number += 1
                if n % 3 == 0:
                    body[6] = body[6] & 0xF0 | number & 0x0F
                for place in moving:
                    body[place] = body[place] + rng.randrange(-1, 2) & 0xFF
                self.log.append((self.bus, Frame(can_id, bytes(body), False, at + 0.0005 * rng.random())))
                if n % 4 == 0:  # its twin comes right behind it with the same counter
                    twin = bytes((2, 0x21, body[2], body[3], body[4], 7, body[6], body[7]))
                    self.log.append((self.bus, Frame(can_id + 1, twin, False, at + 0.0012)))
                at += period

    def heard(self) -> Heard:
        """Return all of it as a search gets it."""
        return heard_from(sorted(self.log, key=lambda one: one[1].at))


def padded(unit: ControlUnit, data: bytes) -> bytes:
    return data if unit.padding is None else data.ljust(8, bytes((unit.padding,)))


def raw(form: SingleFrameFormat, unit: ControlUnit, identifier: int) -> Asked:
    """A whole request in a maker's format."""
    return unit, padded(unit, single_frame.encode(form, unit, identifier))


def driven(
    description: CarDescription, questions: Iterable[Question], seconds: float, design: ModelMaker | None = None
) -> Log:
    """Return all frames of a simulated car that somebody else's tester asks; that begins at second 5, the key at ON."""
    speeds = (0.0, 45.0, 95.0, 60.0, 20.0, 80.0)
    turns = [speeds[n % len(speeds)] for n in range(int(seconds / 15) + 1)]
    drive = [Phase(f"at {speed:g}", 15.0, speed_kmh=speed, pedal=0.9) for speed in turns]
    script = (Phase("start", 3.0, "START"), *drive)
    car = SimulatedCar(description, design or TurboDesign(), script)
    tester = OtherTester(questions)
    log: Log = []
    due: list[tuple[float, int, str, Frame, bool]] = []
    order = count()
    for tick in range(round(seconds * 100)):
        now = 0.01 * tick
        for bus, frame in car.advance(now):
            heappush(due, (frame.at, next(order), bus, frame, True))
        if now > 5.0:
            for bus, frame in tester.advance(now):
                heappush(due, (now, next(order), bus, replace(frame, at=now), False))
        while due and due[0][0] <= now:
            at, _, bus, frame, by_car = heappop(due)
            log.append((bus, replace(frame, at=at)))
            hears = tester.answer if by_car else car.answer
            for delay_s, answer in hears(bus, frame, at):
                heappush(due, (at + delay_s, next(order), bus, answer, not by_car))
    return log
