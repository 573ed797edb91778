"""Numbers that a person read off a tester's screen, and the line that makes them of the bytes that came."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...contract.layout import Bits, ByteOrder, Coding
from ..found import Plain, bits_plain, bits_text
from ..heard import Floats, Integers

LEAST, LEAST_DIFFERENT = 4, 3
"""Numbers that a line needs, and different ones among them."""
LAGS_S = tuple(0.25 * step for step in range(11))
"""How long it may take from the screen to the keyboard (a choice: up to 2.5 s)."""
MISTYPED = 10
"""Of so many numbers one may be left out; of fewer, a wrong field would fit what remains (a choice)."""
OLDEST_S = 5.0
"""An answer older than this was not what the screen showed."""
LONGEST_BYTES = 4
LEAST_CARRIES, CARRY = 5, -64.0
"""So often a byte has to move by one, and the next one to jump so far back on the average, to be its lower half: half
of what it would jump if values were close to each other (a choice). Bytes that do not belong together jump by 0."""
LEAST_BENDS, SMOOTHER = 20, 0.75
"""So often an upper byte has to bend, and so much less both have to bend than with bytes of other times (a choice)."""
FOLLOWS = 0.15
"""What the line leaves over is at most so much of how the numbers vary."""
AS_GOOD = 1.15
"""Lags that leave over no more than this times the least cannot be told from the best one (a choice); of few numbers
those within two standard errors of it."""
FREE = 3
"""What is chosen from the numbers: scale, offset and lag."""
FEW = 0.84
"""How much wider the error of few numbers is, divided by how many are left to judge by: 1.84 of one, 1.17 of five, as
Student's distribution has it for 68 %."""
ERRORS = 2.0
"""A plain number is taken for a scale within so many standard errors."""
ROUND = 12.0**0.5
"""A number that was rounded is off by its last digit's worth, divided by this, in the mean square."""
PLAIN = (1.0, 2.0, 5.0, 2.5, 4.0, 8.0, 1.25, 7.5, 1.5, 3.0, 6.0)
"""First figures of scales as people choose them, plainest first (common practice)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A number typed: when (seconds), what, its last digit's worth, and the unit that was typed with it."""

    at: float
    value: float
    step: float = 1.0
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A line through pairs of a raw number and a reading: ``reading = raw * scale + offset``.

    Attributes:
        scale, offset: of the line.
        scale_error, offset_error: standard errors.
        left: typical difference, in the unit that was typed.
        middle, middle_error: mean of the raw numbers, and how well the reading is known there.
        number: pairs that were used.
        plain: the scale is a plain number, as people choose them.
    """

    scale: float
    offset: float
    scale_error: float
    offset_error: float
    left: float
    middle: float
    middle_error: float
    number: int
    plain: bool = False


@dataclass(frozen=True, slots=True)
class Fit:
    """How a value becomes what was read.

    Attributes:
        bits: which bits of the value's bytes; byte 0 is the first one behind the identifier.
        coding: how they spell a number.
        line: from raw numbers to readings.
        lag_s: from the screen to the keyboard.
        spread: how much the readings vary.
        unit: as it was typed.
    """

    bits: Bits
    coding: Coding
    line: Line
    lag_s: float
    spread: float
    unit: str = ""

    @property
    def follows(self) -> bool:
        """Whether the value follows the readings at all."""
        return self.line.left <= FOLLOWS * self.spread

    def sentence(self) -> str:
        """Say it as a person reads it."""
        line, unit = self.line, f" {self.unit}" if self.unit else ""
        kind = "" if line.plain else ", no plain number"
        return (
            f"its value ({bits_text(self.bits)}) follows {line.number} numbers that were typed: scale {line.scale:.6g} "
            f"(+-{line.scale_error:.2g}{kind}), offset {line.offset:.6g} (+-{line.offset_error:.2g}), typically "
            f"{line.left:.3g}{unit} off, typed {self.lag_s:.1f} s late"
        )

    def plain(self) -> dict[str, Plain]:
        """Return what ``--json`` writes."""
        return {
            **bits_plain(self.bits), "coding": str(self.coding), "scale": self.line.scale, "offset": self.line.offset,
            "scale_error": self.line.scale_error, "offset_error": self.line.offset_error,
            "plain_scale": self.line.plain, "left": self.line.left, "lag_s": self.lag_s, "unit": self.unit,
        }  # fmt: skip


def told_apart(readings: Sequence[Reading]) -> str:
    """Say why no line can be drawn through readings, "" if one can."""
    different = len({one.value for one in readings})
    if len(readings) < LEAST or different < LEAST_DIFFERENT:
        return (
            f"{len(readings)} numbers were typed, {different} of them different; a scale needs {LEAST} at least and "
            f"{LEAST_DIFFERENT} different ones: type low, middle and high values"
        )
    return ""


def fits(values: Sequence[tuple[float, bytes]], readings: Sequence[Reading]) -> Fit | None:
    """Return the best line from any field of a value to the readings; None where the value was hardly there then."""
    if not values:
        return None
    at = np.array([when for when, _ in values])
    typed = np.array([one.value for one in readings])
    when = np.array([one.at for one in readings])
    step = max(one.step for one in readings)
    best: tuple[float, Fit] | None = None
    for bits, coding, raw in _fields([data for _, data in values]):
        made = {}
        for lag_s in LAGS_S:
            row = np.searchsorted(at, when - lag_s, side="right") - 1
            there = (row >= 0) & (when - lag_s - at[np.maximum(row, 0)] <= OLDEST_S)
            line = _line(raw[row[there]].astype(float), typed[there], step) if there.sum() >= LEAST else None
            if line is not None:
                made[lag_s] = line
        if not made:
            continue
        lag_s = min(made, key=lambda lag_s: made[lag_s].left)
        line = _doubted(made[lag_s], made.values())
        # a longer field has to be clearly better than a shorter one: each byte counts as a parameter, as in BIC
        freedom = bits.length / 8 + 0.25 * (coding is Coding.SIGNED)
        cost = (line.left + 1e-12) * line.number ** (freedom / (2.0 * line.number))
        if best is None or cost < best[0]:
            best = cost, Fit(bits, coding, line, lag_s, float(typed.std()), readings[0].unit)
    return None if best is None else replace(best[1], line=plainly(best[1].line))


def _doubted(line: Line, lines: Iterable[Line]) -> Line:
    """Widen a line's errors by what other lags give that fit as well: of what only rises, lag looks like offset."""
    as_good = max(AS_GOOD, float(np.sqrt(1.0 + 4.0 / max(1, line.number - FREE))))
    near = [one for one in lines if one.left <= as_good * line.left]
    scales = [one.scale for one in near]
    at_middle = [one.scale * line.middle + one.offset for one in near]
    offsets = [one.offset for one in near]
    return replace(
        line,
        scale_error=max(line.scale_error, (max(scales) - min(scales)) / 2.0),
        offset_error=max(line.offset_error, (max(offsets) - min(offsets)) / 2.0),
        middle_error=max(line.middle_error, (max(at_middle) - min(at_middle)) / 2.0),
    )


def _fields(datas: Sequence[bytes]) -> Iterator[tuple[Bits, Coding, Integers]]:
    """Yield every field of whole bytes that moves, with its numbers; none that leaves out a byte it carries into."""
    width = min(map(len, datas))
    bytes_of = np.frombuffer(b"".join(data[:width] for data in datas), dtype=np.uint8)
    table: Integers = bytes_of.reshape(len(datas), width).astype(np.int64)
    big = {at for at in range(width - 1) if _carries(table[:, at], table[:, at + 1])}
    little = {at for at in range(width - 1) if _carries(table[:, at + 1], table[:, at])}
    for length in range(1, min(LONGEST_BYTES, width) + 1):
        for first in range(width - length + 1):
            last = first + length - 1
            for order in (ByteOrder.BIG, ByteOrder.LITTLE) if length > 1 else (ByteOrder.BIG,):
                if last in big or first - 1 in little:
                    continue
                weights = 256 ** np.arange(length)
                raw: Integers = table[:, first : last + 1] @ (weights[::-1] if order is ByteOrder.BIG else weights)
                if (raw == raw[0]).all():
                    continue
                bits = Bits(first, 8 * length, None, order)
                yield bits, Coding.UNSIGNED, raw
                if (raw >> (8 * length - 1)).any():
                    yield bits, Coding.SIGNED, raw - ((raw >> (8 * length - 1)) << (8 * length))


def _carries(high: Integers, low: Integers) -> bool:
    """Say whether one byte goes on in another: where the upper one moves, the lower one makes up for its step.

    Where it moves by one at a time, the lower one jumps the other way. Where it moves faster, it seems to bend now and
    then, since it is rounded; together with the lower one it does so less than with lower bytes of other times.
    """
    up = high[1:] - high[:-1]
    one = np.abs(up) == 1
    if one.sum() >= LEAST_CARRIES and np.mean((low[1:] - low[:-1])[one] * up[one]) < CARRY:
        return True
    bends = np.flatnonzero(up[1:] != up[:-1])
    if len(bends) < LEAST_BENDS:
        return False
    others = np.random.default_rng(0).permutation(low)
    return _bend(high, low, bends) < SMOOTHER * _bend(high, others, bends)


def _bend(high: Integers, low: Integers, rows: Integers) -> float:
    """Return how far numbers of two bytes typically are from going on as they did."""
    number = 256 * high + low
    return float(np.median(np.abs(number[2:] - 2 * number[1:-1] + number[:-2])[rows]))


def _line(raw: Floats, typed: Floats, step: float) -> Line | None:
    """Fit a line; one reading in ten may be mistyped, so of fewer than `MISTYPED` none is left out."""
    keep = np.ones(len(raw), dtype=bool)
    scale = offset = 0.0
    for _ in range(2):
        spread = float(raw[keep].std())
        if spread == 0.0 or keep.sum() < LEAST:
            return None
        scale = float(np.cov(raw[keep], typed[keep], bias=True)[0, 1]) / spread**2
        offset = float(typed[keep].mean() - scale * raw[keep].mean())
        off = np.abs(typed - scale * raw - offset)
        if len(raw) >= MISTYPED:
            keep = off <= max(float(np.quantile(off, 0.9)), 3.0 * float(np.median(off)))
    if scale == 0.0 or raw[keep].std() == 0.0 or len(np.unique(typed[keep])) < LEAST_DIFFERENT:
        return None
    number, middle = int(keep.sum()), float(raw[keep].mean())
    # the same number read twice was rounded the same way twice, and tells no more than once
    independent = np.sqrt(len(np.unique(typed[keep])))
    left = float(np.sqrt(np.sum((typed - scale * raw - offset)[keep] ** 2) / max(1, number - FREE)))
    noise = max(left * (1.0 + FEW / max(1, number - FREE)), step / ROUND)
    scale_error = float(noise / (independent * raw[keep].std()))
    middle_error = float(noise / independent)
    offset_error = float(np.hypot(middle_error, scale_error * middle))
    return Line(scale, offset, scale_error, offset_error, left, middle, middle_error, number)


def plainly(line: Line) -> Line:
    """Prefer a plain scale, and then a plain offset, where the readings allow them."""
    scale = plain_number(line.scale, ERRORS * line.scale_error)
    if scale is None:
        return line
    # with the scale fixed, the offset is known as well as the middle of the readings is
    offset = line.offset + (line.scale - scale) * line.middle
    error = line.middle_error
    near = plain_offset(offset, ERRORS * error)
    return replace(line, scale=scale, offset=offset if near is None else near, offset_error=error, plain=True)


def plain_number(value: float, error: float) -> float | None:
    """Return the plainest number within an error of a value, None if there is none; halves of 1 are plain too."""
    if error > 0.2 * abs(value):
        return None
    size = 10.0 ** np.floor(np.log10(abs(value)))
    decimal = [first * power for first in PLAIN for power in (0.1 * size, size, 10.0 * size)]
    binary = [2.0**-power for power in range(1, 16)]
    near = [one for one in (*decimal, *binary) if abs(one - abs(value)) <= error]
    return float(np.copysign(near[0], value)) if near else None


def plain_offset(value: float, error: float) -> float | None:
    """Return the plainest offset within an error of a value: 0, else the roundest number."""
    if abs(value) <= error:
        return 0.0
    for step in (100.0, 50.0, 10.0, 5.0, 1.0, 0.5, 0.1, 0.05, 0.01):
        near = round(value / step) * step
        if abs(near - value) <= error:
            return float(near)
    return None
