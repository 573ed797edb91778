"""Multiplexers: a field that says which of several contents a frame carries this time."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...contract.layout import Bits
from ..heard import Bytes, Floats, Integers, Stream
from ..numbering import Numbering
from .protection import Protection

FEWEST_OF_EACH = 6
"""Frames that each value of a multiplexer must bring before it is believed."""
MOST_VALUES = 32
MOST_ROWS = 4000
"""Frames looked at, the first of them: contents go round all the time."""
PLACES = ((0, 8), (4, 4), (0, 4), (5, 3), (0, 3), (6, 2), (0, 2))
"""Lowest bit and length of what is tried within each byte."""
CHANGES_OFTEN = 0.2
"""Share of the frames that bring another value: a multiplexer goes round, a choice of the driver stays."""
FEWEST_BITS, FEWEST_BYTES = 3.0, 2
"""Bits outside its own byte, and bytes of at least a quarter of them, that must change with it on the average: parts of
a number move little else."""
CALMER = 0.35
"""By how much fewer bits must change from one frame of a value to its next than from frame to frame."""


_ONES = np.array([n.bit_count() for n in range(256)], dtype=np.uint8)


@dataclass(frozen=True, slots=True)
class Multiplexer:
    """A multiplexer: where it is, the values it takes, and by how much calmer each content is by itself (0 to 1)."""

    bits: Bits
    values: tuple[int, ...]
    calmer: float


def multiplexer_of(stream: Stream, protection: Protection) -> Multiplexer | None:
    """Find the multiplexer of one id: a byte or a part of it, the foremost if several would do (common practice)."""
    if len(stream) < 2 * FEWEST_OF_EACH or not 0 < stream.width <= Numbering.MOST_BYTES:
        return None
    own = without_toggles(protection).bits(stream)
    whole, stream = stream, _first(stream)
    numbering = Numbering(stream.width, big=True)
    checked = set(Numbering.run_of(protection.checksum.bits, stream.width)) if protection.checksum else set()
    for byte in range(stream.width):
        found = []
        rest = stream.data & np.packbits(~own, bitorder="little")
        rest[:, byte] = 0
        flips = _ONES[rest[1:] ^ rest[:-1]].astype(np.float64)
        for low, length in PLACES:
            run = slice(8 * byte + low, 8 * byte + low + length)
            if not stream.active[run].any() or checked & set(range(run.start, run.stop)):
                continue
            bits = numbering.bits(8 * (stream.width - 1 - byte) + low, length)
            one = _try(stream.raw(bits), rest, flips, bits)
            found += [one] if one is not None else []
        if found:
            best = min(found, key=lambda one: (one.calmer, one.bits.length))
            return replace(best, values=tuple(np.unique(whole.raw(best.bits)).tolist()))
    return None


def _first(stream: Stream) -> Stream:
    if len(stream) <= MOST_ROWS:
        return stream
    rows = slice(0, MOST_ROWS)
    return replace(stream, at=stream.at[rows], length=stream.length[rows], data=stream.data[rows])


def without_toggles(protection: Protection) -> Protection:
    """Leave out counters of one bit: where two contents take turns, whatever differs between them flips each time."""
    return replace(protection, counts=tuple(one for one in protection.counts if one.bits.length > 1))


def _try(value: Integers, rest: Bytes, flips: Floats, bits: Bits) -> Multiplexer | None:
    """Try one place.

    Args:
        value: what is there in each frame, shape (frames,).
        rest: the other bytes, without counters and checksums, shape (frames, bytes).
        flips: how many bits of each change from frame to frame, shape (frames - 1, bytes).
        bits: the place.
    """
    counts = np.bincount(value)
    values = np.flatnonzero(counts)
    turned = value[1:] != value[:-1]
    if not 2 <= len(values) <= MOST_VALUES or counts[values].min() < FEWEST_OF_EACH or turned.mean() < CHANGES_OFTEN:
        return None
    each = turned @ flips / turned.sum()
    between = float(each.sum())
    if between < FEWEST_BITS or int((each >= FEWEST_BITS / 4).sum()) < FEWEST_BYTES:
        return None
    order = np.argsort(value.astype(np.uint8), kind="stable")
    sorted_rest, same = rest[order], value[order][1:] == value[order][:-1]
    within = float(_ONES[sorted_rest[1:] ^ sorted_rest[:-1]][same].sum()) / max(1, int(same.sum()))
    if within > CALMER * between:
        return None
    return Multiplexer(bits, tuple(values.tolist()), within / between)
