"""What a decoder did not take, and why."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True)
class Counts:
    """Counts of one decoder.

    Attributes:
        short: frames dropped because they were shorter than their fields need.
        checksum: frames dropped because the checksum was wrong.
        repeated: frames dropped because the counter stood still.
        jumped: frames taken although the counter moved by more than one, so that some were missed.
        unavailable: values the sender marked as not available, or that spell nothing.
    """

    short: int = 0
    checksum: int = 0
    repeated: int = 0
    jumped: int = 0
    unavailable: int = 0

    @property
    def dropped(self) -> int:
        """Frames that were heard and not used."""
        return self.short + self.checksum + self.repeated
