"""What a frame carries to protect itself: counters and a checksum. Searches for what a person did leave them out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...contract.layout import Bits, Counter
from ..heard import Flags, Stream
from ..numbering import Numbering
from . import checksums, counters
from .checksums import FOLLOWS, Sum
from .counters import Count
from .linear import follows_linearly

HALF = 4
MIXES = 0.95
"""How often a CRC changes at least when anything else does: 255 times of 256."""
MOST_MIXED = 400
"""Payloads that are looked at for a byte mixed of others; 64 bits and a list of 16 take 80 to know the rule."""


@dataclass(frozen=True, slots=True)
class Protection:
    """The counters and the checksum of one id.

    Attributes:
        counts: the counters.
        checksum: by a rule that is known.
        unexplained: a byte, or half of one, that moves like a checksum, by a rule that is not.
    """

    counts: tuple[Count, ...] = ()
    checksum: Sum | None = None
    unexplained: Bits | None = None

    @property
    def counter(self) -> Counter | None:
        """A counter that a description can declare: by one a frame, through all that its bits can hold."""
        seen = [one for one in self.counts if one.began_again]
        plain = (one for one in seen if (one.every, one.step, one.first) == (1, 1, 0) and one.bits.length > 1)
        return next((Counter(one.bits) for one in plain if one.last == (1 << one.bits.length) - 1), None)

    def bits(self, stream: Stream) -> Flags:
        """Return which bits of the stream's payload move for their sake alone, shape (8 * width,)."""
        moving = counters.bits_of(self.counts, stream) | checksums.bits_of(self.checksum, stream)
        if self.unexplained is not None:
            moving[list(Numbering.run_of(self.unexplained, stream.width))] = True
        return moving


def protection_of(stream: Stream) -> Protection:
    """Find the counters and the checksum of one id; what counts within the checksum only follows another counter.

    Examples:
        ``moving = stream.active & ~protection_of(stream).bits(stream)`` leaves what may mean something.
    """
    if stream.width > Numbering.MOST_BYTES:
        return Protection()
    counts = counters.counters(stream)
    checksum = checksums.checksum_of(stream, counts)
    inside = checksums.bits_of(checksum, stream)
    kept = tuple(one for one in counts if not inside[list(Numbering.run_of(one.bits, stream.width))].any())
    return Protection(kept, checksum, unexplained(stream, kept) if checksum is None else None)


def unexplained(stream: Stream, counts: Sequence[Count]) -> Bits | None:
    """Return the place that moves like a checksum of a rule that is not known here.

    It is a byte that follows from the rest by exclusive-or; or else half a byte beside a counter of half a byte, since
    counters and checksums stand together (common practice), that moves with most frames and takes most of its values.
    """
    whole = _mixed_byte(stream, counts)
    if whole is not None:
        return whole
    for one in counts:
        run = Numbering.run_of(one.bits, stream.width)
        if len(run) != HALF or run[0] % HALF:
            continue
        low = run[0] ^ HALF
        value = stream.data[:, low // 8] >> (low % 8) & 0xF
        moving = float((value[1:] != value[:-1]).mean()) if len(value) > 1 else 0.0
        if moving >= FOLLOWS and len(np.unique(value)) >= FOLLOWS * 2**HALF:
            return Bits(low // 8, HALF, low % 8 + HALF - 1)
    return None


def _mixed_byte(stream: Stream, counts: Sequence[Count]) -> Bits | None:
    """The byte that is an exclusive-or of others; a CRC over something beside the frame is one.

    What goes into a CRC follows from it and the rest as well, but seldom changes with all of that, and seldom sits at
    an end of the frame.
    """
    rows = checksums.payloads(stream)
    rows = rows[:: -(-len(rows) // MOST_MIXED) or 1]
    count = next((Numbering.run_of(one.bits, stream.width) for one in counts if one.bits.length == HALF), range(0))
    step = stream.data[1:] != stream.data[:-1]
    share = {byte: _moved_along(step, byte) for byte in range(rows.shape[1])}
    last = rows.shape[1] - 1
    for byte in sorted(share, key=lambda one: (one != last, one != 0, -share[one])):
        if share[byte] >= MIXES and follows_linearly(rows, byte, count):
            return Bits(byte, 8)
    return None


def _moved_along(step: Flags, byte: int) -> float:
    """How often a byte changed when any other did; 0 where it changed alone."""
    others = np.delete(step, byte, axis=1).any(axis=1)
    return 0.0 if (step[:, byte] & ~others).any() or not others.any() else float(step[others, byte].mean())
