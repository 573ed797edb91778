"""The four kinds of ISO-TP frame: how they are spelt and read (ISO 15765-2, protocol control information, classic CAN).

A frame is, after the address byte that extended and mixed addressing put first (here: the prefix):

| kind | bytes |
|---|---|
| single | ``0L`` payload; L is 1 to 7, one less behind a prefix |
| first | ``1L LL`` payload for up to 4095 bytes, ``10 00 LL LL LL LL`` payload for more |
| consecutive | ``2N`` payload; N counts from 1 and goes on with 0 after 15 |
| flow control | ``3S BS ST``; S is 0 continue, 1 wait, 2 overflow |

Layouts and special values as in the Linux kernel's isotp.c; what the standard says beyond it is from memory. What is
padding is told by the lengths in the frames, never by its value.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from ..contract.errors import UnderdashError

FRAME_BYTES = 8
"""Bytes of a classic CAN frame."""

MOST_SHORT_BYTES = 0xFFF
"""The longest message whose length a first frame says in twelve bits."""

MOST_BYTES = 0xFFFF_FFFF
"""The longest message there is."""

RESERVED_ST_MIN_S = 0.127
"""What a sender takes for a separation time whose value is reserved."""


class Kind(IntEnum):
    """Kinds of frame, in the upper half of the first byte; other values are not ISO-TP."""

    SINGLE = 0
    FIRST = 1
    CONSECUTIVE = 2
    FLOW_CONTROL = 3


class FlowStatus(IntEnum):
    """What a receiver says in a flow control frame; other values are reserved."""

    CONTINUE = 0
    WAIT = 1
    OVERFLOW = 2


@dataclass(frozen=True, slots=True)
class Single:
    """A whole message."""

    payload: bytes


@dataclass(frozen=True, slots=True)
class First:
    """The beginning of a message.

    Attributes:
        length: bytes of the whole message.
        part: its first bytes.
    """

    length: int
    part: bytes


@dataclass(frozen=True, slots=True)
class Consecutive:
    """A later part of a message; after the last byte of the message comes padding."""

    number: int
    part: bytes


@dataclass(frozen=True, slots=True)
class FlowControl:
    """What the receiver of a message says to its sender.

    Attributes:
        status: a `FlowStatus`, or a reserved value.
        block_size: frames until the next flow control, 0 for all of them.
        st_min_s: seconds between two frames at least.
    """

    status: int
    block_size: int
    st_min_s: float


@dataclass(frozen=True, slots=True)
class Malformed:
    """A frame of one of the four kinds that contradicts itself; `why` is a sentence fragment."""

    kind: Kind
    why: str


Pdu = Single | First | Consecutive | FlowControl | Malformed


def room(prefix: int | None = None) -> int:
    """Return how many payload bytes one frame holds."""
    return FRAME_BYTES - 1 - (prefix is not None)


def prefixed(body: bytes, prefix: int | None) -> bytes:
    """Put the address byte first, if there is one."""
    return body if prefix is None else bytes((prefix,)) + body


def padded(data: bytes, padding: int | None) -> bytes:
    """Fill a frame's data up to eight bytes; 0 is a padding too, None leaves it as it is."""
    return data if padding is None else data.ljust(FRAME_BYTES, bytes((padding,)))


# --- reading --------------------------------------------------------------------------------------------------------


def parse(data: bytes, prefix: int | None = None) -> Pdu | None:
    """Read a frame.

    Args:
        data: a frame's data, padded or not.
        prefix: address byte the frame must begin with, if any.

    Returns:
        What it is, or None if it is not an ISO-TP frame of this address.
    """
    start = 0 if prefix is None else 1
    if not start < len(data) <= FRAME_BYTES or (prefix is not None and data[0] != prefix):
        return None
    body, low = data[start:], data[start] & 0x0F
    match body[0] >> 4:
        case Kind.SINGLE:
            return _single(body, low)
        case Kind.FIRST:
            return _first(body, low, start)
        case Kind.CONSECUTIVE:
            return (
                Consecutive(low, body[1:]) if body[1:] else Malformed(Kind.CONSECUTIVE, "a later frame without bytes")
            )
        case Kind.FLOW_CONTROL:
            return _flow_control(body, low)
    return None


def _single(body: bytes, length: int) -> Single | Malformed:
    if length == 0 or length >= len(body):
        return Malformed(Kind.SINGLE, f"a single frame that says {length} bytes and holds {len(body) - 1}")
    return Single(body[1 : 1 + length])


def _first(body: bytes, high: int, start: int) -> First | Malformed:
    if len(body) + start < FRAME_BYTES:
        return Malformed(Kind.FIRST, f"a first frame of only {len(body) + start} bytes")
    length, part = high << 8 | body[1], body[2:]
    if length == 0:  # escape: the length is in the next four bytes
        length, part = int.from_bytes(body[2:6]), body[6:]
        if length <= MOST_SHORT_BYTES:
            return Malformed(Kind.FIRST, f"a first frame that says {length} bytes where only more than 4095 belong")
    if length < len(body):
        return Malformed(Kind.FIRST, f"a first frame for {length} bytes, which fit a single frame")
    return First(length, part)


def _flow_control(body: bytes, status: int) -> FlowControl | Malformed:
    if len(body) < 3:
        return Malformed(Kind.FLOW_CONTROL, f"flow control of only {len(body)} bytes")
    return FlowControl(status, body[1], st_min_s(body[2]))


def st_min_s(value: int) -> float:
    """Return a separation time in seconds: 00 to 7F are ms, F1 to F9 are 100 us each, the others are reserved."""
    if value <= 0x7F:
        return value / 1e3
    if 0xF1 <= value <= 0xF9:
        return (value - 0xF0) / 1e4
    return RESERVED_ST_MIN_S


# --- spelling -------------------------------------------------------------------------------------------------------


def single(payload: bytes, prefix: int | None = None) -> bytes:
    """Spell a message that fits one frame, unpadded.

    Raises:
        UnderdashError: it does not fit, or is empty.
    """
    if not 1 <= len(payload) <= room(prefix):
        raise UnderdashError(
            f"a message of {len(payload)} bytes ({payload.hex(' ').upper()}) was to go into one frame, which holds 1 to"
            f" {room(prefix)}; ask for fewer identifiers at a time"
        )
    return prefixed(bytes((len(payload),)) + payload, prefix)


def first(payload: bytes, prefix: int | None = None) -> bytes:
    """Spell the first frame of a message that does not fit one frame.

    Raises:
        UnderdashError: it would fit, or is longer than any message.
    """
    length = len(payload)
    if not room(prefix) < length <= MOST_BYTES:
        raise UnderdashError(
            f"a message of {length} bytes was to be sent in several frames, which takes {room(prefix) + 1} to"
            f" {MOST_BYTES}; send it as a single frame"
        )
    if length <= MOST_SHORT_BYTES:
        head = (Kind.FIRST << 12 | length).to_bytes(2)
    else:
        head = bytes((Kind.FIRST << 4, 0)) + length.to_bytes(4)
    head = prefixed(head, prefix)
    return head + payload[: FRAME_BYTES - len(head)]


def consecutive(number: int, part: bytes, prefix: int | None = None) -> bytes:
    """Spell a later frame, unpadded; `number` may go on beyond 15."""
    return prefixed(bytes((Kind.CONSECUTIVE << 4 | number & 0x0F,)) + part, prefix)


def flow_control(status: FlowStatus, block_size: int = 0, st_min: int = 0, prefix: int | None = None) -> bytes:
    """Spell a flow control frame, unpadded; `st_min` as it is in the frame, see `st_min_s`."""
    return prefixed(bytes((Kind.FLOW_CONTROL << 4 | status, block_size, st_min)), prefix)
