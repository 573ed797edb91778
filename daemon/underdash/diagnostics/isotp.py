"""ISO-TP (ISO 15765-2): what its parts have in common, and messages that fit one frame.

| part | what it does |
|---|---|
| `pci` | spells and reads the four kinds of frame |
| `addressing` | ids and address bytes of the addressing formats |
| `reassembly` | receives a message in several frames, and says which flow control to send |
| `segmentation` | sends a message in several frames, and obeys the flow control it gets |

None of them sends, or reads a clock: frames and times are handed in and frames come out. Every broken sequence ends in
one `Broken`, which names its `Fault`, and what broke can be used for the next message at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from . import pci
from .pci import FRAME_BYTES, padded, room

__all__ = ["FRAME_BYTES", "Broken", "Dropped", "Fault", "padded", "room", "wrap"]


class Fault(StrEnum):
    """How a sequence of frames can break; short constants for counting."""

    LENGTH = "length"
    """A frame that contradicts itself, or is shorter than its place in the message."""
    SEQUENCE = "sequence"
    """A later frame with another number than the next one."""
    UNEXPECTED = "unexpected"
    """A later frame of a message whose first one was not heard."""
    INTERRUPTED = "interrupted"
    """Another message began before this one was complete."""
    TOO_LONG = "too long"
    """A message longer than we take."""
    NO_NEXT_FRAME = "no next frame"
    """The next frame did not come in time (N_Cr)."""
    NO_FLOW_CONTROL = "no flow control"
    """The receiver did not say in time how to go on (N_Bs)."""
    TOO_MANY_WAITS = "too many waits"
    """The receiver asked to wait more often than is allowed (N_WFTmax)."""
    OVERFLOW = "overflow"
    """The receiver has no room for the message."""
    RESERVED_STATUS = "reserved status"
    """The receiver said something that has no meaning."""


@dataclass(frozen=True, slots=True)
class Broken:
    """The end of a message that did not arrive.

    Attributes:
        fault: what happened.
        why: the same as a sentence fragment for a person, with numbers.
        start: the first bytes of the message, as far as they were heard; they tell whose answer it was.
    """

    fault: Fault
    why: str
    start: bytes = b""


@dataclass(frozen=True, slots=True)
class Dropped:
    """A frame that is ours but gives no value.

    Attributes:
        reason: short constant for counting.
        why: a sentence fragment for a person.
        start: the first bytes of the message, where the frame has them; they tell whose answer it was.
        identifier: what was asked for, where that could be read.
    """

    reason: str
    why: str
    start: bytes = b""
    identifier: int | None = None


def wrap(payload: bytes, address: int | None = None) -> bytes:
    """Make a single frame, unpadded.

    Args:
        payload: one message, such as ``01 0C``.
        address: address byte that goes first, where several units share an id pair.

    Raises:
        UnderdashError: the message does not fit one frame, or is empty.
    """
    return pci.single(payload, address)
