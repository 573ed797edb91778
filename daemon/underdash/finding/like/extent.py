"""Where a field begins and ends: which bits below its lowest and above its highest belong to it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from ..heard import Floats, Integers
from .fields import Rough
from .fitting import Line, Timing, line_through, pairs
from .lanes import Lane
from .moments import LONGEST, sequences
from .reference import Reference

SURE = 3.0
"""Standard deviations from which on the frames themselves say whether a bit is the next finer one."""

STEADY = 2.0
"""Frames whose number lies within so many lowest bits of the middle of its neighbours show the next finer bit best."""

WORSE = 1.05
"""A longer field may leave this much more of the reference than a shorter one that it contains."""

SAME_SCALE = 0.02
"""A longer field with the same lowest bit has the same scale, to this part: another number on top has not."""

AS_OFTEN, BUSY = 0.8, 0.2
"""The next finer bit of a noisy number flips so often at least, as part of how often its lowest one and it all do."""

FEWEST_CARRIES, MOSTLY = 2, 0.9
"""A higher bit has to change so often to be seen carrying, and the number has to wrap at so many of these."""

SELDOM = 0.01
"""A number wraps in so few frames at most if one carry is to show its next higher bit."""

LOOKED_AT = 20_000
"""Frames that are looked at."""


def lengthened(field: Rough, reference: Reference, timing: Timing) -> Rough:
    """Return the field with all low bits that carry more of the same number, in the byte order that has most of them.

    Args:
        field: a field whose high bits are right.
        reference: what it follows.
        timing: when it comes.
    """
    return max((_downward(one, reference, timing) for one in _orders(field)), key=lambda one: one.length)


def heightened(field: Rough, reference: Reference, timing: Timing) -> Rough:
    """Return the field with the highest bits that change and do not make it fit worse.

    Four bits that count on from 7 to 8 fit as well as a signed number as eight do as an unsigned one.
    """
    line, best = line_through(pairs(field.lane, field.raw(), reference, timing)), field
    if line is None:
        return field
    for length in range(field.length + 1, min(LONGEST, len(field.sequence.numbers) - field.start) + 1):
        if int(field.sequence.numbers[field.start + length - 1]) not in field.lane.active:
            continue
        # what was taken before says nothing for what lies above it, such as another number that stood still meanwhile
        top = replace(field, start=field.start + best.length, length=length - best.length, signed=False)
        longer = [replace(field, length=length, signed=signed) for signed in (False, True)]
        good = [one for one in longer if _as_good(one, top, line, reference, timing)]
        best = good[0] if good else best
    return best


def carried(field: Rough) -> Rough:
    """Return the field with the higher bits that it carries into, as the frames show also where no reference is.

    Where a number's next higher bit changes the number wraps, so that the longer one goes on smoothly.
    """
    while not field.signed and field.length < LONGEST and field.start + field.length < len(field.sequence.numbers):
        bit = int(field.sequence.numbers[field.start + field.length])
        said = field.lane.says
        flip = np.diff(_bit(field.lane, bit)[said])
        rows = np.flatnonzero(flip)
        if not len(rows):
            break
        whole = float(2**field.length)
        step = np.diff(field.raw()[said])
        apart = np.abs(step[rows] + whole * flip[rows])
        # once is enough where the number hardly ever wraps, since it did so just then
        seldom = np.count_nonzero(np.abs(step) > whole / 2) <= SELDOM * len(step)
        if len(rows) < FEWEST_CARRIES and not (seldom and float(apart.max()) <= max(1.0, whole / 16)):
            break
        if np.mean(apart <= whole / 4) < MOSTLY:
            break
        field = field.resized(field.start, field.length + 1)
    return field


def _as_good(longer: Rough, top: Rough, line: Line, reference: Reference, timing: Timing) -> bool:
    """Say whether more high bits change while the reference is there, and leave scale and fit as they are."""
    found = pairs(longer.lane, longer.raw(), reference, timing)
    if np.ptp(pairs(top.lane, top.raw(), reference, timing).raw[line.kept]) < 0.5:
        return False
    other = line_through(found)
    if other is None or abs(other.scale - line.scale) > SAME_SCALE * abs(line.scale):
        return False
    # by the same values: to leave out those at which the high bits spoil the number would not be fair
    rest = (found.value - other.scale * found.raw - other.offset)[line.kept]
    return float(np.mean(rest * rest)) <= WORSE * line.spread**2 + 1e-12 * float(np.var(found.value))


def _orders(field: Rough) -> Iterator[Rough]:
    """Yield a field in its byte order; one within a byte has both."""
    yield field
    numbers = sorted(field.numbers())
    if numbers[0] // 8 == numbers[-1] // 8:
        for sequence in sequences(field.lane.data.shape[1]):
            if sequence.little != field.sequence.little:
                (start,) = np.flatnonzero(sequence.numbers == numbers[0]).tolist()
                yield replace(field, sequence=sequence, start=start)


def _downward(field: Rough, reference: Reference, timing: Timing) -> Rough:
    while field.start > 0 and field.length < LONGEST:
        bit = int(field.sequence.numbers[field.start - 1])
        if not _belongs(field, reference, timing, bit):
            break
        field = field.resized(field.start - 1, field.length + 1)
    return field


def _belongs(field: Rough, reference: Reference, timing: Timing, bit: int) -> bool:
    own = finer(field.lane, field.raw(), bit)
    if abs(own) > SURE:
        return own < 0
    if nearer(field, reference, timing, bit) > SURE:
        return True
    # a sensor's noise hides what its finest bits say; they flip as often as the bits above, and end with their byte
    lowest = int(field.sequence.numbers[field.start])
    flips, above_it = (np.count_nonzero(np.diff(_bit(field.lane, one))) for one in (bit, lowest))
    changes = np.count_nonzero(np.diff(field.raw()))
    return lowest % 8 != 0 and bool(flips >= max(AS_OFTEN * above_it, BUSY * changes, 1))


def finer(lane: Lane, raw: Floats, bit: int) -> float:
    """Say whether a bit is the next finer one of a number, from the frames alone.

    With the right bit appended a number lies closer to the middle between the frames before and after, with any other
    one further from it: the sum of the squares becomes smaller or larger, by an amount that is known.

    Returns:
        Standard deviations, negative where it is; 0 where the bit does not change.
    """
    said = lane.says[:LOOKED_AT]
    low = _bit(lane, bit)[:LOOKED_AT][said]
    bend, turn = np.diff(raw[:LOOKED_AT][said], 2) / 2, np.diff(low, 2) / 2
    size = np.abs(bend)
    # while the number rests, a bit that flips is its own unrest or another number's: that says nothing
    moving = size > 0
    limit = max(STEADY, 2 * float(np.median(size[moving]))) if moving.any() else 0.0
    more = (bend * turn + turn * turn / 4)[moving & (size <= limit)]
    power = float(more @ more)
    return float(more.sum()) / float(np.sqrt(power)) if power > 0 else 0.0


def nearer(field: Rough, reference: Reference, timing: Timing, bit: int) -> float:
    """Say whether a bit is the next finer one of a number, from what the number leaves of the reference.

    Returns:
        Standard deviations by which the line through both fits better with the bit at half the weight of the lowest one
        than it would if the bit said nothing; negative where it fits worse.
    """
    found = pairs(field.lane, field.raw(), reference, timing)
    line = line_through(found)
    low = pairs(field.lane, _bit(field.lane, bit), reference, timing).raw
    if line is None or np.ptp(low[line.kept]) == 0:
        return 0.0
    rest = (found.value - line.scale * found.raw - line.offset)[line.kept] / line.scale
    low = low[line.kept] - low[line.kept].mean()
    power = float(low @ low)
    error = float(rest.std()) / float(np.sqrt(power * line.worth / len(rest))) + 1e-9
    weight = float(rest @ low) / power
    # half way between 0, a bit that says nothing, and 1/2, the next finer one, nothing is known
    return (weight - 0.25) / error if abs(weight - 0.5) < 0.25 + error else -abs(weight - 0.5) / error


def _bit(lane: Lane, bit: int) -> Floats:
    return ((lane.data[:, bit // 8] >> (bit % 8)) & 1).astype(np.float64)


def to_the_byte(field: Rough) -> Rough | None:
    """Return the field with all bits down to its byte's lowest; None where it begins there or none of them is used."""
    more = int(field.sequence.numbers[field.start]) % 8
    if zeros_below(field) == more or field.length + more > LONGEST:
        return None
    return field.resized(field.start - more, field.length + more)


def ones_above(field: Rough) -> tuple[int, bool]:
    """Return how many bits right above a field are always 1, and whether they go on to the end of their byte."""
    ones, count = set(field.lane.ones.tolist()), 0
    for number in field.sequence.numbers[field.start + field.length :].tolist():
        if number not in ones or field.length + count == LONGEST:
            return count, False
        count += 1
        if number % 8 == 7:
            return count, True
    return count, False


def zeros_above(field: Rough, after: int = 0) -> int:
    """Return how many bits right above a field, and above `after` more, are always 0."""
    changing, count = {*field.lane.active.tolist(), *field.lane.ones.tolist()}, 0
    for number in field.sequence.numbers[field.start + field.length + after :].tolist():
        if number in changing:
            break
        count += 1
    return count


def zeros_below(field: Rough) -> int:
    """Return how many bits right below a field, within its lowest byte, are always 0."""
    numbers: Integers = field.sequence.numbers
    active, ones = set(field.lane.active.tolist()), set(field.lane.ones.tolist())
    count = 0
    while field.start - count > 0:
        number = int(numbers[field.start - count - 1])
        if number % 8 == 7 or number in active or number in ones:
            break
        count += 1
    return count
