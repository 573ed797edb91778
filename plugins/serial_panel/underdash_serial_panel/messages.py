"""Kinds of frames, and what stands in those that keep the conversation going (PROTOCOL.md sections 3 and 4)."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum, IntFlag

VERSION = 1
Message = tuple[int, bytes]
"""A kind and its payload, on the way to a frame."""


class Kind(IntEnum):
    """What a frame is for; those from 0x80 on come from the controller."""

    HELLO = 0x01
    PING = 0x02
    BYE = 0x03
    LIGHT = 0x04
    SHOW = 0x05
    RECTANGLE = 0x10
    MORE = 0x11
    PAGE = 0x20
    VALUE = 0x21
    ROW = 0x22
    WORDS = 0x23
    STATE = 0x24
    COLUMN = 0x25
    LAMP = 0x26
    LINE = 0x27
    GREETING = 0x81
    ACKNOWLEDGE = 0x82


class Can(IntFlag):
    """What a controller can do, and what is wanted of it."""

    PIXELS = 1
    VALUES = 2


MOST_WINDOW = 16
_GREETING = struct.Struct(">BBHHBB")


@dataclass(frozen=True, slots=True)
class Greeting:
    """How a controller introduces itself.

    Attributes:
        version: of the protocol it speaks.
        session: the one it was greeted with; 0 if nobody has since it started.
        size: pixels across and down; zeros where it has no pixels of its own.
        can: what it can do.
        window: frames it can take before it has acknowledged the first of them.
    """

    version: int
    session: int
    size: tuple[int, int]
    can: Can
    window: int


def hello(session: int, wanted: Can) -> bytes:
    """Return the payload that begins a session, 1..255."""
    return bytes((VERSION, session, wanted))


def read_greeting(payload: bytes) -> Greeting | None:
    """Return a greeting; None if it is shorter than one. Later versions may append to it."""
    if len(payload) < _GREETING.size:
        return None
    version, session, width, height, can, window = _GREETING.unpack_from(payload)
    return Greeting(version, session, (width, height), Can(can & 3), min(max(window, 1), MOST_WINDOW))


def read_acknowledge(payload: bytes) -> tuple[int, bool] | None:
    """Return the number of the frame that is expected next, and whether all from it on is wanted again."""
    return (payload[0], bool(payload[1])) if len(payload) >= 2 else None


def light(level: float) -> bytes:
    """Return the payload that sets the light, level 0 (dark) to 1 in linear light."""
    return round(min(max(level, 0.0), 1.0) * 0xFFFF).to_bytes(2, "big")
