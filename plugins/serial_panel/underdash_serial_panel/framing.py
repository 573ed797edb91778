"""Frames on the wire: COBS bytes between zeros, with a checksum (PROTOCOL.md section 2).

COBS is Consistent Overhead Byte Stuffing (Cheshire and Baker, IEEE/ACM Transactions on Networking 7(2), 1999). The
checksum is CRC-16/IBM-3740: polynomial 1021, start FFFF, not reflected; that of "123456789" is 29B1.
"""

from __future__ import annotations

from binascii import crc_hqx
from dataclasses import dataclass

MOST_PAYLOAD = 250
MOST_BODY = MOST_PAYLOAD + 4
MOST_CODED = MOST_BODY + 1
"""A body is short enough that COBS adds one byte."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What one frame carries: its kind, its number, and a payload of up to `MOST_PAYLOAD` bytes."""

    kind: int
    number: int
    payload: bytes = b""


def stuffed(data: bytes) -> bytes:
    """Return up to 254 bytes without any zero among them, one byte longer.

    Raises:
        ValueError: `data` is longer.
    """
    if len(data) > MOST_BODY:
        raise ValueError(f"{len(data)} bytes in one frame; at most {MOST_BODY} fit")
    return b"".join(bytes((len(part) + 1,)) + part for part in data.split(b"\0"))


def unstuffed(coded: bytes) -> bytes | None:
    """Return what `stuffed` was given, None if no bytes can look like that."""
    data, at = bytearray(), 0
    while at < len(coded):
        step = coded[at]
        if step == 0 or at + step > len(coded) or 0 in coded[at + 1 : at + step]:
            return None
        data += coded[at + 1 : at + step]
        at += step
        if step < 0xFF and at < len(coded):
            data.append(0)
    return bytes(data)


def on_wire(frame: Frame) -> bytes:
    """Return the bytes of a frame, the zero that ends it included."""
    body = bytes((frame.kind, frame.number)) + frame.payload
    return stuffed(body + crc_hqx(body, 0xFFFF).to_bytes(2, "big")) + b"\0"


def read_body(coded: bytes) -> Frame | None:
    """Return the frame that stood between two zeros, None if it is not whole."""
    body = unstuffed(coded)
    if body is None or len(body) < 4 or crc_hqx(body, 0xFFFF) != 0:
        return None
    return Frame(body[0], body[1], body[2:-2])


class Deframer:
    """Cuts what arrives into frames, whatever lies between them.

    Attributes:
        broken: stretches between zeros that were no frame.
    """

    def __init__(self) -> None:
        self.broken = 0
        self._coded = bytearray()
        self._too_long = False

    def feed(self, data: bytes) -> list[Frame]:
        """Take what arrived and return the frames that are complete with it."""
        frames = []
        *ended, rest = data.split(b"\0")
        for part in ended:
            self._more(part)
            if self._coded or self._too_long:
                frame = None if self._too_long else read_body(bytes(self._coded))
                if frame is None:
                    self.broken += 1
                else:
                    frames.append(frame)
            self._coded.clear()
            self._too_long = False
        self._more(rest)
        return frames

    def _more(self, part: bytes) -> None:
        self._coded += part
        if len(self._coded) > MOST_CODED:
            self._coded.clear()
            self._too_long = True
