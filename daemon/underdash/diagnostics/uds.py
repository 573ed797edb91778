"""Service 22 of ISO 14229-1: read data by identifier, one identifier a request."""

from __future__ import annotations

from ..contract.requests import Answer
from .negative import refused

SERVICE = 0x22
REPLY = SERVICE + 0x40
IDENTIFIER_BYTES = 2


def request(identifier: int) -> bytes:
    """Return the message that asks for a data identifier (0 to FFFF)."""
    return bytes((SERVICE,)) + identifier.to_bytes(IDENTIFIER_BYTES)


def read(payload: bytes) -> tuple[Answer, ...]:
    """Read an answer; empty if the message is none of this service.

    Several identifiers in one answer can only be told apart with a table of their lengths, and none are asked for
    together; whatever follows the first identifier is its data.
    """
    negative = refused(payload, SERVICE)
    if negative is not None:
        return (negative,)
    if len(payload) < 1 + IDENTIFIER_BYTES or payload[0] != REPLY:
        return ()
    return (Answer(int.from_bytes(payload[1:3]), payload[3:]),)
