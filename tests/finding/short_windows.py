"""A tester that has one value on show at a time, for a short while, and a person who notes it, not quite in time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

from underdash.bus.frames import Frame
from underdash.finding.heard import Heard
from underdash.finding.marks import Mark

from .tester_traces import Wire

SCALES = {1: (0.1, 0.5, 1.0, 2.0, 0.75, 0.01, 0.05), 2: (0.01, 0.001, 0.05, 0.1, 0.25, 0.0005)}
OFFSETS = (0.0, 0.0, 0.0, -40.0, -50.0, -1.0)
LATE_S = 0.5


@dataclass(frozen=True)
class Value:
    """One value: what names it, and how it moves."""

    identifier: int
    size: int
    scale: float
    offset: float
    slow_s: float
    begin: float

    def raw(self, at: float) -> int:
        """Return the number that is sent."""
        angle = at / self.slow_s + self.begin
        return int((0.5 + 0.3 * math.sin(angle) + 0.15 * math.sin(3.2 * angle)) * (250 if self.size == 1 else 40_000))

    @property
    def step(self) -> float:
        """The last digit that a screen would show of it."""
        span = self.scale * (250 if self.size == 1 else 40_000)
        return 0.1 if span > 20 else 0.01 if span > 2 else 0.001


class OnShow:
    """Four to eight values, each on show for 5 to 20 s once or twice, marks up to 1 s off; others are always asked for.

    Attributes:
        values: by the word of the person.
        marks: what was on show, and numbers read off: rounded, typed about half a second late, of some values none.
    """

    def __init__(self, seed: int) -> None:
        self._rng = rng = Random(f"on show {seed}")
        number, always = rng.randint(4, 8), rng.choice((0, 0, 1, 2))
        made = [self._value(identifier) for identifier in rng.sample(range(0x100, 0xFFF), number + always)]
        self.values = {f"value_{n}": value for n, value in enumerate(made[:number])}
        self._always = made[number:]
        words = [word for _ in range(rng.choice((1, 2))) for word in rng.sample(list(self.values), number)]
        at, self._windows = 2.0, list[tuple[str, float, float]]()
        for word in words:
            end = at + rng.uniform(5.0, 20.0)
            self._windows.append((word, at, end))
            at = end + rng.uniform(0.3, 3.0)
        self.marks = sorted(
            (mark for window in self._windows for mark in self._noted(*window)), key=lambda mark: mark.begin
        )

    def _value(self, identifier: int) -> Value:
        rng = self._rng
        size = rng.choice((1, 1, 2))
        return Value(
            identifier,
            size,
            rng.choice(SCALES[size]),
            rng.choice(OFFSETS),
            rng.uniform(3.0, 12.0),
            rng.uniform(0.0, 6.0),
        )

    def _noted(self, word: str, begin: float, end: float) -> list[Mark]:
        rng, value = self._rng, self.values[word]
        found = [Mark(begin + rng.uniform(-1.0, 1.0), f"{word} only", end + rng.uniform(-1.0, 0.2))]
        many, step = rng.choice((0, 4, 8)), value.step * rng.choice((1, 1, 10))
        for n in range(many):
            at = begin + 0.7 + (end - begin - 1.0) * (n + 0.6 * rng.random()) / many
            shown = step * round((value.raw(at) * value.scale + value.offset) / step)
            text = f"{word} {shown:.{max(0, round(-math.log10(step)))}f} u"
            found.append(Mark(min(at + LATE_S + rng.uniform(-0.2, 0.3), end + 0.2), text))
        return found

    def heard(self) -> Heard:
        """Return the trace."""
        rng, wire, at, turn = self._rng, Wire([], self._rng), 1.0, 0
        end = self._windows[-1][2] + 1.0
        while at < end:
            shown = [self.values[word] for word, begin, over in self._windows if begin <= at <= over]
            if asked := [*shown, *self._always]:
                self._ask(wire, asked[turn % len(asked)], at)
                turn += 1
            at += 0.1 * rng.uniform(0.8, 1.3)
        wire.talk(0.0, end, how_many=10)
        return wire.heard()

    def _ask(self, wire: Wire, value: Value, at: float) -> None:
        named = value.identifier.to_bytes(2)
        data = value.raw(at).to_bytes(value.size)
        request, answer = b"\xcd\x5c\xb4" + named + b"\x01", bytes((0xCC + value.size, 0x5C, 0xF4)) + named + data
        wire.log.append((wire.bus, Frame(0x6A1, request.ljust(8, b"\0"), at=at)))
        late = at + self._rng.uniform(0.005, 0.02)
        wire.log.append((wire.bus, Frame(0x6B2, answer.ljust(8, b"\0"), at=late)))
