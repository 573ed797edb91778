"""What a frame carries to protect itself: counters and a checksum. Searches for what a person did leave them out."""

from __future__ import annotations

from dataclasses import dataclass

from ..contract.layout import Bits
from . import checksums, counters
from .checksums import Sum
from .counters import Count
from .heard import Flags, Stream
from .numbering import Numbering


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
    return Protection(kept, checksum, checksums.unexplained(stream, kept) if checksum is None else None)
