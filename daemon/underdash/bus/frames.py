"""Frames as this program sees them, and the flags Linux puts into an id (linux/can.h)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

EXTENDED = 0x8000_0000
REMOTE = 0x4000_0000
ERROR = 0x2000_0000

Handler = Callable[[bytes, float], None]
"""Called with the data and the monotonic time of a frame that somebody wants."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame. Error frames (`error`), FD frames (`fd`) and remote frames never reach a decoder."""

    id: int
    data: bytes
    extended: bool = False
    at: float = 0.0
    remote: bool = False
    error: bool = False
    fd: bool = False

    @property
    def key(self) -> int:
        """The number this frame is dispatched by: its id, with the extended flag in bit 31."""
        return self.id | EXTENDED if self.extended else self.id

    def __str__(self) -> str:
        return f"{id_text(self.key)}#{self.data.hex().upper()}"


def key_of(can_id: int, extended: bool) -> int:
    """Return the dispatch key of an id."""
    return can_id | EXTENDED if extended else can_id


def fits(can_id: int, extended: bool) -> bool:
    """Say whether an id fits its 11 or 29 bits; the kernel would cut off what does not, or take it for a flag."""
    return 0 <= can_id < (1 << 29 if extended else 1 << 11)


def id_text(key: int) -> str:
    """Write an id the way people do: three hex digits for 11 bits, eight for 29."""
    return f"{key & 0x1FFF_FFFF:08X}" if key & EXTENDED else f"{key:03X}"
