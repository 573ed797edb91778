"""One-frame formats that nobody uses, one for each seed, and the control units and the tester that speak them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, SingleFrameFormat
from underdash.diagnostics import single_frame
from underdash.simulator.units import SimulatedUnit

from .tester_traces import SIGNALS, Asked, raw

COUNT, ADDRESS, COMMAND, IDENTIFIER = PartKind.COUNT, PartKind.ADDRESS, PartKind.COMMAND, PartKind.IDENTIFIER
MODE, FIXED, DATA = PartKind.MODE, PartKind.FIXED, PartKind.DATA
SCALES = {1: 5.0, 2: 0.05, 3: 0.001}


@dataclass(frozen=True)
class Invented:
    """A format with what speaks it: addresses of the units that share the ids, and (identifier, bytes of its value)."""

    form: SingleFrameFormat
    addresses: tuple[int | None, ...]
    identifiers: tuple[tuple[int, int], ...]
    padding: int | None = 0x00
    extended: bool = False


def invented(seed: int) -> Invented:
    """Return a format: what counts and from where, who is named, how long things are and where they stand all vary."""
    rng = Random(f"format {seed}")
    size = rng.choice((1, 2, 2))
    base = rng.choice((None, 0x00, 0x01, 0x90, 0x40, 0x00, 0xFD, 0xFE))
    several = rng.random() < 0.5
    address = several or rng.random() < 0.4
    command = rng.randrange(0xA0, 0xBF)
    adds = 0x40 if base is None or rng.random() < 0.75 else rng.choice((0x80, 0x20, 0x01))
    mode = rng.choice((None, 0x01, 0x05))
    head = ([Part(COUNT, 1, base)] if base is not None else []) + ([Part(ADDRESS)] if address else [])
    if rng.random() < 0.3:
        rng.shuffle(head)
    named = [Part(COMMAND), Part(IDENTIFIER, size)]
    request = [*head, *named, *([Part(MODE, 1, mode)] if mode is not None else [])]
    reply_head = head if several or rng.random() < 0.8 else [part for part in head if part.kind is not ADDRESS]
    status = [Part(FIXED, 1, 0x3C)] if rng.random() < 0.15 and size == 1 else []
    form = SingleFrameFormat("invented", command, tuple(request), (*reply_head, *named, *status, Part(DATA)), adds)
    high = rng.randrange(1, 0xF0) << 8 if size == 2 else 0
    lows = rng.sample(range(1, 0xF0), 6)
    room = single_frame.room(form)
    identifiers = tuple((high | low, min(room, rng.choice((1, 1, 2, 2, 3)))) for low in lows)
    named_units = tuple(rng.sample(range(0x10, 0xF0), 2 if several else 1)) if address else (None,)
    return Invented(form, named_units, identifiers, rng.choice((0x00, 0x00, 0xFF, 0xAA, None)), rng.random() < 0.4)


def units_of(made: Invented) -> list[SimulatedUnit]:
    """Return the control units that speak a format: identifiers are dealt out to them in turn."""
    ids = (0x0B20C0A1, 0x0B20C0A2) if made.extended else (0x6A1, 0x6B2)
    units = []
    for number, address in enumerate(made.addresses):
        unit = ControlUnit(f"unit_{number}", "drive", *ids, made.extended, address=address, padding=made.padding)
        mine = [place for place in range(len(made.identifiers)) if place % len(made.addresses) == number]
        polls = [_poll(unit, made.identifiers[place], SIGNALS[place]) for place in mine]
        units.append(SimulatedUnit(unit, polls, (made.form,), Random(f"unit {number}")))
    return units


def _poll(unit: ControlUnit, asked: tuple[int, int], signal: str) -> PollRequest:
    identifier, size = asked
    return PollRequest(unit.name, "invented", identifier, (Field(signal, Bits(0, 8 * size), scale=SCALES[size]),))


def requests_of(made: Invented, units: Sequence[SimulatedUnit]) -> list[Asked]:
    """Return all requests that the units answer."""
    return [
        raw(made.form, units[place % len(units)].unit, identifier)
        for place, (identifier, _) in enumerate(made.identifiers)
    ]


def in_turn(requests: Sequence[Asked], end: float, rng: Random, every_s: float = 0.1) -> list[tuple[float, Asked]]:
    """Return when a tester asks for everything in turn, not quite regularly, from the first second on."""
    asked: list[tuple[float, Asked]] = []
    at = 1.0
    while at < end:
        asked.append((at, requests[len(asked) % len(requests)]))
        at += every_s * rng.uniform(0.8, 1.3)
    return asked


def asks_alike(found: SingleFrameFormat, made: Invented, units: Sequence[SimulatedUnit], padding: int | None) -> bool:
    """Say whether a format sends the same bytes for all that is asked: what the units get is all that counts."""
    for place, (identifier, _) in enumerate(made.identifiers):
        unit = units[place % len(units)].unit
        wanted = raw(made.form, unit, identifier)[1]
        spelt = single_frame.encode(found, unit, identifier)
        if (spelt if padding is None else spelt.ljust(8, bytes((padding,)))) != wanted:
            return False
    return True
