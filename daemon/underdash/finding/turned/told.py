"""What `find turned` says: sentences about fields, flags beside them, and what another recording should do."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...contract.layout import Bits
from ..found import Candidate, Where, bits_text
from ..lacks import counted
from .stroke import Stroke
from .sweeps import Sweep, moving

ENOUGH = 4
"""Sweeps from which on the answer is sure."""

MOST_FLAGS = 3
CALM = 0.05
"""A flag beside a knob changes in at most this part of the frames; what changes more often is a counter or a sum."""


def candidate(one: Stroke, confidence: float, weight: float) -> Candidate:
    """Tell one field."""
    stream = one.lane.stream
    down, up = ("turned down", "turned up") if one.known else ("one end", "other end")
    return Candidate(
        Where(stream.bus, stream.id, stream.extended, one.bits, select=one.lane.select),
        confidence,
        weight,
        tuple(_because(one)),
        {one.down: down, one.up: up},
        {
            "low": float(one.down), "high": float(one.up), "steps": float(one.steps), "moved": float(one.followed),
            "sweeps": float(one.followed + one.missed),
        },
    )  # fmt: skip


def _because(one: Stroke) -> list[str]:
    sweeps = one.followed + one.missed
    text = [
        f"it followed {one.followed} of {sweeps} turns, {100 * one.straight:.0f} % of its way in one direction",
        f"from {one.down} to {one.up}, {one.steps} values on the way",
        f"it moved {100 * one.restless:.0f} % as much in the quiet"
        if one.restless
        else "still while nothing was turned",
    ]
    if one.down > one.up:
        text.append("its number falls when it is turned up")
    return text


def flags_beside(one: Stroke, sweeps: Sequence[Sweep]) -> list[str]:
    """Tell single bits of the same frames that change on their own, such as a light sensor's beside a knob."""
    lane = one.lane
    flips = np.unpackbits(lane.data[1:] ^ lane.data[:-1], axis=1, bitorder="little").astype(bool)
    inside = moving(lane.at, sweeps)
    text = []
    for bit in np.flatnonzero(flips.any(axis=0) & (flips.mean(axis=0) <= CALM)).tolist():
        quiet = int(flips[~inside, bit].sum())
        neighbours = [other for other in (bit - 1, bit + 1) if other // 8 == bit // 8 and flips[:, other].any()]
        if bit in one.numbers or not quiet or any(other not in one.numbers for other in neighbours):
            continue
        times = int(flips[:, bit].sum())
        text.append(
            f"{bits_text(Bits(bit // 8, 1, bit % 8))} beside it is a flag of its own: it changed "
            f"{counted(times, 'time')}, {quiet} of them while nothing was turned"
        )
    return text[:MOST_FLAGS]


def remarks(name: str, sweeps: Sequence[Sweep], best: Sequence[Stroke]) -> tuple[str, ...]:
    """Say what a person should know of the whole answer."""
    if not best:
        return (
            f"nothing follows {name}: it may not be on this bus, or only be sent while it has an effect (a dimmer with "
            "the lights on, a pedal with the ignition on); turn it slowly from end to end, four times, resting 3 s at "
            "each end",
        )
    text = flags_beside(best[0], sweeps)
    if len(best) > 1:
        text.append(
            f"{len(best)} fields follow {name} alike, which may be one value in several frames; turn it faster, so "
            "that the first can be told from those that follow it"
        )
    if len(sweeps) < ENOUGH:
        text.append(f"{name} was turned {counted(len(sweeps), 'time')}; four times from end to end make it sure")
    return tuple(text)
