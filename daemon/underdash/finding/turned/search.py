"""``find turned``: which field follows a knob or a pedal that was moved from end to end."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import exp, log, log2

import numpy as np

from ..found import Answer
from ..heard import Heard, Integers
from ..like.fields import bits_of
from ..like.lanes import Lane, lanes
from ..like.moments import Sequence as Run
from ..like.moments import sequences
from .stroke import Stroke, judged
from .sweeps import Sweep, moving
from .told import candidate, remarks

QUIETER = 0.3
"""A bit that follows changes at most so often in a frame of the quiet as in one of a sweep: a sensor's unrest, or a
turn that nobody marked; a counter changes as often in both."""

MOST_BITS = 16
FEWEST_STEPS = 4
"""Values that a knob takes at least; what takes fewer is a switch, and a question for `find pressed`."""

AGREES, MISSES = 1.9, 2.0
"""What a sweep says for a field that follows it, and against one that does not, in nats: one in seven fields that move
at all while a hand moves something does so all the way and in one direction (our choice)."""

TRIES = 50.0
"""Fields that move at all while something is turned (order of magnitude)."""

LATER, MOST_LATER = 1.0, 4.0
"""What each 0.1 s says against a field that begins to move later than another, in nats, and the most of it."""

TIED = 2.3
"""Fields that differ by less than this, in nats, cannot be told apart."""

RESTLESS = 3.0
"""What counts against a field that moves in the quiet as much as in the sweeps, in nats."""

SHOWN = 10


def turned(heard: Heard, controls: Mapping[str, Sequence[Sweep]]) -> list[Answer]:
    """Search for the field that follows each control.

    Args:
        heard: the trace.
        controls: sweeps by the control's name, see `sweeps.sweeps_of`.

    Returns:
        An answer a control, with `figures` low and high (what it reads turned down and up), steps, moved and sweeps.
    """
    every = [sweep for some in controls.values() for sweep in some]
    return [_answer(heard, name, some, every) for name, some in controls.items()]


def _answer(heard: Heard, name: str, sweeps: Sequence[Sweep], every: Sequence[Sweep]) -> Answer:
    strokes = [
        one for lane in lanes(heard) for one in following(lane, sweeps, every) if one.followed * 2 >= len(sweeps)
    ]
    first = {id(one): _begins(one, strokes) for one in strokes}
    weights = {id(one): weight(one) - min(MOST_LATER, 10 * LATER * first[id(one)]) for one in strokes}
    strokes = _once(sorted(strokes, key=lambda one: -weights[id(one)]))[:SHOWN]
    if not strokes:
        return Answer(name, remarks=remarks(name, sweeps, ()))
    best = weights[id(strokes[0])]
    shares = [exp(weights[id(one)] - best) for one in strokes]
    against = MISSES * strokes[0].missed + RESTLESS * strokes[0].restless
    sure = 1.0 / (1.0 + exp(log(TRIES) - AGREES * strokes[0].followed + against))
    ranks: list[list[int]] = []
    for number, one in enumerate(strokes):
        if ranks and weights[id(strokes[ranks[-1][0]])] - weights[id(one)] < TIED:
            ranks[-1].append(number)
        else:
            ranks.append([number])
    told = [[candidate(strokes[n], sure * shares[n] / sum(shares), weights[id(strokes[n])]) for n in r] for r in ranks]
    return Answer(
        name, tuple(tuple(rank) for rank in told), remarks(name, sweeps, [strokes[number] for number in ranks[0]])
    )


def following(lane: Lane, sweeps: Sequence[Sweep], every: Sequence[Sweep]) -> Iterator[Stroke]:
    """Yield the fields of a lane that follow sweeps, none of them part of another one."""
    answering = set(_answering(lane, sweeps, every).tolist())
    if len(answering) < 2:
        return
    found = [
        stroke
        for sequence in sequences(lane.data.shape[1])
        for run in _runs(sequence.numbers, answering)
        for stroke in _within(lane, sequence, run, sweeps, every)
    ]
    kept: list[Stroke] = []
    for one in sorted(found, key=lambda stroke: -weight(stroke)):
        if not any(one.numbers & other.numbers for other in kept):
            kept.append(one)
    yield from kept


def weight(one: Stroke) -> float:
    """Return what speaks for a field, in nats; finer steps are the fuller number."""
    return AGREES * one.followed * one.straight - MISSES * one.missed + 0.5 * log2(one.steps) - RESTLESS * one.restless


def _answering(lane: Lane, sweeps: Sequence[Sweep], every: Sequence[Sweep]) -> Integers:
    """Return the bits that change in sweeps of this control and rest while nothing is turned."""
    changed = np.flatnonzero((lane.data[1:] != lane.data[:-1]).any(axis=1))
    if not len(changed):
        return np.empty(0, dtype=np.int64)
    flips = np.unpackbits(lane.data[changed + 1] ^ lane.data[changed], axis=1, bitorder="little")
    own, any_of = moving(lane.at, sweeps), moving(lane.at, every)
    inside = flips[own[changed]].sum(axis=0, dtype=np.int64) / max(np.count_nonzero(own), 1)
    outside = flips[~any_of[changed]].sum(axis=0, dtype=np.int64) / max(np.count_nonzero(~any_of), 1)
    return np.flatnonzero((inside > 0) & (outside <= QUIETER * inside))


def _runs(numbers: Integers, answering: set[int]) -> Iterator[tuple[int, int]]:
    """Yield (start, length) of what answers without a gap, two bits or more."""
    start = 0
    for place in range(len(numbers) + 1):
        if place == len(numbers) or int(numbers[place]) not in answering:
            if place - start >= 2:
                yield start, place - start
            start = place + 1


def _within(
    lane: Lane, sequence: Run, run: tuple[int, int], sweeps: Sequence[Sweep], every: Sequence[Sweep]
) -> Iterator[Stroke]:
    begin, length = run
    for start in range(begin, begin + length - 1):
        for size in range(2, min(MOST_BITS, begin + length - start) + 1):
            bits = bits_of(sequence, start, size)
            numbers = frozenset(sequence.numbers[start : start + size].tolist())
            one = judged(lane, bits, numbers, sweeps, every)
            if one is not None and one.steps >= FEWEST_STEPS and one.followed:
                yield one


def _begins(one: Stroke, strokes: Sequence[Stroke]) -> float:
    """Return by how much a field begins to move later than any that follows as often, beyond what frames leave open."""
    later = 0.0
    for other in strokes:
        if other.followed >= one.followed:
            both = np.isfinite(one.begins) & np.isfinite(other.begins)
            if both.any():
                apart = float(np.median(one.begins[both] - other.begins[both]))
                later = max(later, apart - one.lane.period_s)
    return later


def _once(strokes: Sequence[Stroke]) -> list[Stroke]:
    """Leave out what is part of a better field of the same id, in the whole or under a multiplexer."""
    kept: list[Stroke] = []
    for one in strokes:
        if not any(other.lane.stream is one.lane.stream and other.numbers & one.numbers for other in kept):
            kept.append(one)
    return kept
