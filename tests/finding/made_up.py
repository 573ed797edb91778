"""Traces made up for searches of quantities: fields at known places among counters, noise and other quantities."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from underdash.broadcast.bits import place_of
from underdash.bus.frames import Frame
from underdash.contract.layout import Bits
from underdash.finding.heard import Heard
from underdash.finding.reading import heard_from

Floats = NDArray[np.float64]
BEGIN = 500.0


def drive(at: Floats, seed: int = 1) -> Floats:
    """A speed that goes up and down: 0 to 120 km/h, turning some ten times in 100 s."""
    chance = np.random.default_rng(seed)
    grid = np.arange(-10.0, 400.0, 7.0)
    knots = chance.uniform(5.0, 115.0, len(grid))
    fine = np.arange(-10.0, 390.0, 0.05)
    smooth = np.convolve(np.interp(fine, grid, knots), np.ones(41) / 41, mode="same")
    return np.interp(at - BEGIN, fine, smooth)


@dataclass(frozen=True)
class Put:
    """A quantity at `bits`, ``raw = (value - offset) / scale``; where byte 0 reads `select`, if that is set."""

    bits: Bits
    scale: float = 1.0
    offset: float = 0.0
    seed: int = 1
    late_s: float = 0.0
    select: int | None = None
    noise: float = 0.0


def put(payload: int, bits: Bits, raw: int) -> int:
    """Put a number's bits into a payload of eight bytes, which is kept as one big-endian number."""
    place = place_of(bits)
    value = (raw & place.mask) << place.shift
    size = place.last - place.first + 1
    return payload | int.from_bytes(value.to_bytes(size, place.order), "big") << 8 * (7 - place.last)


def frames(can_id: int, puts: list[Put], *, seconds: float = 100.0, period_s: float = 0.04) -> list[tuple[str, Frame]]:
    """The frames of one id; under a multiplexer its values take turns."""
    chance = np.random.default_rng(can_id)
    at = BEGIN + np.arange(0.0, seconds, period_s) + chance.uniform(0, period_s / 10)
    numbers = []
    for one in puts:
        value = drive(at - one.late_s, one.seed) + one.noise * chance.standard_normal(len(at))
        numbers.append(np.rint((value - one.offset) / one.scale))
    selects = sorted({one.select for one in puts if one.select is not None})
    out = []
    for row, when in enumerate(at.tolist()):
        select = selects[row % len(selects)] if selects else None
        payload = 0 if select is None else select << 56
        for one, number in zip(puts, numbers, strict=True):
            if one.select == select or one.select is None:
                payload = put(payload, one.bits, int(number[row]))
        out.append(("drive", Frame(can_id, payload.to_bytes(8), at=when)))
    return out


@cache
def clutter(seconds: float = 100.0) -> list[tuple[str, Frame]]:
    """Ids with counters, checksums and noise, and one that walks about by itself."""
    out = []
    for can_id in range(0x300, 0x304):
        chance = np.random.default_rng(can_id)
        walk = np.cumsum(chance.integers(-3, 4, int(seconds / 0.05))) + 20_000
        for row, number in enumerate(walk.tolist()):
            body = bytes((row % 16, 0x40, *int(number).to_bytes(2), *chance.bytes(2), 0xFF))
            out.append(("drive", Frame(can_id, body + bytes((sum(body) & 0xFF,)), at=BEGIN + 0.05 * row)))
    return out


def heard(*parts: list[tuple[str, Frame]]) -> Heard:
    """Put frames together in the order of their times."""
    return heard_from(sorted((one for part in parts for one in part), key=lambda pair: pair[1].at))
