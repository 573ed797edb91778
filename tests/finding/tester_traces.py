"""Traces of a tester that somebody else runs, made with the simulator's control units, for the tests of finding."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush
from itertools import count
from random import Random

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, SingleFrameFormat
from underdash.contract.signals import Value
from underdash.diagnostics import single_frame
from underdash.finding.heard import Heard
from underdash.finding.reading import heard_from
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

    def ask(self, asked: Iterable[tuple[float, Asked]], values: Callable[[float], dict[str, Value]] = values_at) -> None:
        """Send requests at their times; units answer in several frames without waiting, as to a tester that lets them."""
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
                    for delay_s, said in one.answer(data, values(at), at):
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


# --- invented formats -------------------------------------------------------------------------------------------------

COUNT, ADDRESS, COMMAND, IDENTIFIER = PartKind.COUNT, PartKind.ADDRESS, PartKind.COMMAND, PartKind.IDENTIFIER
MODE, FIXED, DATA = PartKind.MODE, PartKind.FIXED, PartKind.DATA


@dataclass(frozen=True)
class Invented:
    """A format with what speaks it: how many units share the ids, and how many bytes the values have."""

    form: SingleFrameFormat
    addresses: tuple[int | None, ...]
    identifiers: tuple[tuple[int, int], ...]
    padding: int | None = 0x00
    extended: bool = False


def invented(seed: int) -> Invented:
    """Return a format of its own for each seed: what counts, who is named, and where things stand all differ."""
    rng = Random(f"format {seed}")
    size = rng.choice((1, 2, 2))
    base = rng.choice((None, 0x00, 0x01, 0x90, 0x40, 0x00, 0xFD, 0xFE))
    several = rng.random() < 0.5
    address = several or rng.random() < 0.4
    command = rng.randrange(0xA0, 0xBF)
    adds = 0x40 if base is None or rng.random() < 0.75 else rng.choice((0x80, 0x20, 0x01))
    mode = rng.choice((None, 0x01, 0x05))
    head = ([Part(COUNT, 1, base)] if base is not None else []) + ([Part(ADDRESS)] if address else [])
    rng.shuffle(head) if rng.random() < 0.3 else None
    named = [Part(COMMAND), Part(IDENTIFIER, size)]
    request = [*head, *named, *([Part(MODE, 1, mode)] if mode is not None else [])]
    reply_head = head if several or rng.random() < 0.8 else [part for part in head if part.kind is not ADDRESS]
    reply = [*reply_head, *named, *([Part(FIXED, 1, 0x3C)] if rng.random() < 0.15 and size == 1 else []), Part(DATA)]
    form = SingleFrameFormat("invented", command, tuple(request), tuple(reply), adds)
    room = single_frame.room(form)
    high = rng.randrange(1, 0xF0) << 8 if size == 2 else 0
    lows = rng.sample(range(1, 0xF0), 6)
    identifiers = tuple((high | low, min(room, rng.choice((1, 1, 2, 2, 3)))) for low in lows)
    addresses: tuple[int | None, ...] = tuple(rng.sample(range(0x10, 0xF0), 2 if several else 1)) if address else (None,)
    return Invented(form, addresses, identifiers, rng.choice((0x00, 0x00, 0xFF, 0xAA, None)), rng.random() < 0.4)


def units_of(made: Invented, seed: int = 1) -> list[SimulatedUnit]:
    """Return the control units that speak a format: identifiers are dealt out to them in turn."""
    units = []
    for number, address in enumerate(made.addresses):
        ids = (0x0B20C0A1, 0x0B20C0A2) if made.extended else (0x6A1, 0x6B2)
        unit = ControlUnit(
            f"unit_{number}", "drive", *ids, made.extended, address=address, padding=made.padding, gap_s=0.01
        )
        polls = []
        for place, (identifier, size) in enumerate(made.identifiers):
            if place % len(made.addresses) == number:
                scale = {1: 5.0, 2: 0.05, 3: 0.001}[size] * (20.0 if SIGNALS[place] == "engine.speed" and size == 1 else 1)
                scale = 25.0 if SIGNALS[place] == "engine.speed" and size == 1 else scale
                polls.append(
                    PollRequest(unit.name, "invented", identifier, (Field(SIGNALS[place], Bits(0, 8 * size), scale=scale),))
                )
        units.append(SimulatedUnit(unit, polls, (made.form,), Random(f"unit {seed} {number}")))
    return units


def round_robin(
    made: Invented, units: Sequence[SimulatedUnit], begin: float, end: float, rng: Random, every_s: float = 0.1
) -> list[tuple[float, Asked]]:
    """A tester that asks for everything in turn, not quite regularly."""
    asked: list[tuple[float, Asked]] = []
    all_of_them = [
        raw(made.form, units[place % len(units)].unit, identifier)
        for place, (identifier, _) in enumerate(made.identifiers)
    ]
    at, n = begin, 0
    while at < end:
        asked.append((at, all_of_them[n % len(all_of_them)]))
        at, n = at + every_s * rng.uniform(0.8, 1.3), n + 1
    return asked
