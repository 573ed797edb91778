"""Service 22 of ISO 14229-1: read data by identifier, one or several in a request."""

from __future__ import annotations

from ..contract.requests import Answer
from .identified import overheard
from .identified import request as request_identified

SERVICE = 0x22
REPLY = SERVICE + 0x40
IDENTIFIER_BYTES = 2
MOST = 12
"""Identifiers we ask for in one request; the standard leaves it to the unit, whose limit is learned."""


def request(*identifiers: int) -> bytes:
    """Return the message that asks for data identifiers (0 to FFFF)."""
    return request_identified(SERVICE, identifiers, IDENTIFIER_BYTES)


def read(payload: bytes) -> tuple[Answer, ...]:
    """Read an answer; empty if the message is none of this service.

    Several identifiers in one answer can only be told apart by whoever knows their lengths; here whatever follows the
    first one is its data.
    """
    return overheard(payload, SERVICE, IDENTIFIER_BYTES, {})
