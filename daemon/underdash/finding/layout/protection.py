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

HALF = 4


@dataclass(frozen=True, slots=True)
class Protection:
    """The counters and the checksum of one id.

    Attributes:
        counts: the counters.
        checksum: by a rule that is known.
        unexplained: half a byte that moves like a checksum, by a rule that is not.
    """

    counts: tuple[Count, ...] = ()
    checksum: Sum | None = None
    unexplained: Bits | None = None

    @property
    def counter(self) -> Counter | None:
        """A counter that a description can declare: by one a frame, through all that its bits can hold."""
        plain = (one for one in self.counts if (one.every, one.step, one.first) == (1, 1, 0) and one.bits.length > 1)
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
    """Return the half byte beside a counter of half a byte that moves like a checksum of a rule that is not known here.

    Counters and checksums stand together (common practice); so what stands there, moves with most frames and takes
    most of its values is one.
    """
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
