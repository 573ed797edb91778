"""ISO-TP (ISO 15765-2) as far as one frame: wrap a request, unwrap an answer, name what takes several frames.

Payloads go through `wrap` and `unwrap`, frames through the bus, so that an assembler of several frames can take the
place of `unwrap` (it keeps state per response id and says which flow control to send) without its callers noticing.

With an address, the first byte of every frame is the control unit's address extension in both directions (mixed
addressing, ISO 15765-2 clause on addressing formats; from memory), and one byte less is left for the payload.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..contract.errors import UnderdashError

FRAME_BYTES = 8
"""Bytes of a classic CAN frame."""

SINGLE, FIRST, CONSECUTIVE, FLOW_CONTROL = range(4)
"""Kinds of frame, in the upper half of the first byte."""


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


def room(address: int | None = None) -> int:
    """Return how many payload bytes one frame holds."""
    return FRAME_BYTES - 1 - (address is not None)


def wrap(payload: bytes, address: int | None = None) -> bytes:
    """Make a single frame, unpadded.

    Args:
        payload: one message, such as ``01 0C``.
        address: address extension of the unit where several share an id pair.

    Raises:
        UnderdashError: the message does not fit one frame, or is empty.
    """
    if not 1 <= len(payload) <= room(address):
        raise UnderdashError(
            f"a message of {len(payload)} bytes ({payload.hex(' ').upper()}) was to go into one frame, which holds 1 to"
            f" {room(address)}; ask for fewer identifiers at a time"
        )
    return _prefix(address) + bytes((len(payload),)) + payload


def unwrap(data: bytes, address: int | None = None) -> bytes | Dropped | None:
    """Return the payload of a single frame; what is padding is told by the length in the frame, never by its value.

    Args:
        data: a frame's data.
        address: address extension the frame must carry, if any.

    Returns:
        The payload, or why there is none, or None if this is not an ISO-TP frame of this unit.
    """
    prefix = _prefix(address)
    body = data[len(prefix) :]
    if not body or not data.startswith(prefix):
        return None
    kind, low = body[0] >> 4, body[0] & 0x0F
    if kind == SINGLE:
        return _single(body, low)
    if kind == FIRST:
        return _first(body, low)
    if kind == CONSECUTIVE:
        return Dropped("consecutive", "a later part of an answer in several frames, which are not put together yet")
    if kind == FLOW_CONTROL:
        return Dropped("flow control", "a flow control frame, which belongs to a message in several frames")
    return None


def _single(body: bytes, length: int) -> bytes | Dropped:
    if length == 0 or length >= len(body):
        return Dropped("length", f"a single frame that says {length} bytes and holds {len(body) - 1}")
    return body[1 : 1 + length]


def _first(body: bytes, high: int) -> Dropped:
    if len(body) < FRAME_BYTES - 1:
        return Dropped("length", f"a first frame with only {len(body)} bytes")
    length, start = high << 8 | body[1], body[2:]
    if length == 0:  # escape: the length is in the next four bytes
        length, start = int.from_bytes(body[2:6]), body[6:]
    return Dropped("several frames", f"an answer of {length} bytes in several frames, not put together yet", start)


def _prefix(address: int | None) -> bytes:
    return b"" if address is None else bytes((address,))
