"""A closer look at a field that moves with a reference: its extent, when it comes, and what its numbers mean."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import log

import numpy as np

from ...contract.layout import Bits, Coding
from ..found import Where
from ..heard import Floats
from .extent import WORSE, carried, heightened, lengthened, ones_above, to_the_byte, zeros_above, zeros_below
from .fields import Rough, bits_of, thinned
from .fitting import MOST_WORTH, Line, Timing, line_through, pairs, timed
from .moments import LONGEST
from .plain import Spelling, spelling
from .reference import Reference, turns

MOST_VALUES = 1500
"""Values of a reference by which the lag is found."""

FINE_S = 0.05
"""How far from a first lag a second, finer look goes."""

UNUSED = 0.2
"""How often a number ends in bits that are never used (our guess). Each way to count them in has its share of that:
one of many makes any scale look plain."""

PLAINER = 1.0
"""Numbers mostly begin with a byte's lowest bit: one that does, and fits as well, is taken if its scale is plainer by
so many nats."""


@dataclass(frozen=True)
class Close:
    """A field and how it follows the reference.

    Attributes:
        field: its place as far as bits change.
        bits, signed: its place as it is told, with bits that stand still.
        timing, line: when it comes, and the fitted line.
        spelling: what is to be written down.
        zeros: its highest bits that were always 0, up to the end of their byte.
        beyond: bits above it that were always 0 too.
        turns: how often the reference turned round while the field was there.
        alike: how likely two of the field's numbers are the same, of those that were held against the reference.
    """

    field: Rough
    bits: Bits
    signed: bool
    timing: Timing
    line: Line
    spelling: Spelling
    zeros: int
    beyond: int
    turns: int
    alike: float = 0.0

    @property
    def where(self) -> Where:
        """The place, as answers tell it."""
        stream = self.field.lane.stream
        coding = Coding.SIGNED if self.signed else Coding.UNSIGNED
        return Where(stream.bus, stream.id, stream.extended, self.bits, coding, self.field.lane.select)

    @property
    def weight(self) -> float:
        """How much speaks for it, in nats: how little it leaves of the reference, and how plain its numbers are."""
        worth = max(0.0, min(MOST_WORTH, self.line.worth) / 2 - 1)
        return -worth * log(max(self.line.left, 1e-6)) + self.spelling.bonus


def close_look(field: Rough, reference: Reference, step_s: float) -> Close | None:
    """Look at a field closely; None where no line goes through it."""
    few = thinned(reference, MOST_VALUES)
    timing = timed(field.lane, field.raw(), few, Timing(field.lag_s), step_s)
    field = carried(lengthened(heightened(field, few, timing), few, timing))
    timing = timed(field.lane, field.raw(), few, replace(timing, drift=0.0), FINE_S, step_s=step_s)
    found = _read(field, reference, timing)
    longer = to_the_byte(field)
    if found is None or longer is None:
        return found
    other = _read(longer, reference, timing)
    if other is None or other.line.left > WORSE * found.line.left:
        return found
    return other if other.spelling.bonus > found.spelling.bonus + PLAINER else found


def _read(field: Rough, reference: Reference, timing: Timing) -> Close | None:
    found = pairs(field.lane, field.raw(), reference, timing)
    line = line_through(found)
    if line is None or line.scale == 0:
        return None
    told = []
    for share, bits, signed, seen in _spellings(field, line):
        apart = round(line.scale / seen.scale)
        said = spelling(seen, bits.length, reference.unit, apart)
        told.append((replace(said, bonus=said.bonus + log(share)), bits, signed, seen))
    said, bits, signed, seen = max(told, key=lambda one: one[0].bonus)
    zeros, beyond = (0, 0) if signed else _zeros(field)
    return Close(
        field,
        bits,
        signed,
        timing,
        seen,
        said,
        zeros,
        beyond,
        turns(found.value[line.kept]),
        alike(found.raw[line.kept]),
    )


def alike(raw: Floats) -> float:
    """Return how likely two of these numbers are the same, drawn without putting one back."""
    counts = np.unique(np.rint(raw), return_counts=True)[1].astype(np.float64)
    return float((counts * (counts - 1.0)).sum()) / max(1.0, len(raw) * (len(raw) - 1.0))


def _zeros(field: Rough) -> tuple[int, int]:
    """Return the bits above a field that are always 0: up to the end of the byte, and those beyond."""
    ones, to_the_end = ones_above(field)
    zeros = 0 if to_the_end else zeros_above(field, ones)
    top = int(field.sequence.numbers[field.start + field.length + ones - 1])
    within = min(zeros, 7 - top % 8, LONGEST - field.length - ones)
    return within, zeros - within


def _spellings(field: Rough, line: Line) -> Iterator[tuple[float, Bits, bool, Line]]:
    """Yield the ways to count bits in that stand still, with how often it is so and the line through what is read then.

    A number reaches up to the end of its byte as far as nothing else is there: a speed that never came above 63 km/h in
    one drive will in the next.
    """
    ones, to_the_end = ones_above(field)
    length, signed = field.length + ones, field.signed
    more = float(2**length - 2**field.length) if ones and not signed else 0.0
    plain = _moved(line, more, 1.0)
    whole = length + (0 if signed else _zeros(field)[0])
    below = zeros_below(field)
    used = 1.0 - UNUSED if below else 1.0
    yield used, bits_of(field.sequence, field.start, whole), signed, plain
    if ones and to_the_end and not signed:
        yield used, bits_of(field.sequence, field.start, length), True, _moved(line, -float(2**field.length), 1.0)
    for zeros in range(1, below + 1):
        yield (
            UNUSED / below,
            bits_of(field.sequence, field.start - zeros, whole + zeros),
            signed,
            _moved(plain, 0.0, 2.0**zeros),
        )


def _moved(line: Line, more: float, times: float) -> Line:
    """Return the same line for the numbers ``(raw + more) * times``."""
    return replace(
        line,
        scale=line.scale / times,
        scale_error=line.scale_error / times,
        offset=line.offset - line.scale * more,
        mean=(line.mean + more) * times,
    )
