"""Services 21 and 1A of ISO 14230-3 (KWP 2000) on CAN: read data by local identifier, read identification.

Both take one identifier of one byte, and all bytes after its echo are its data. Negative codes differ from those of
ISO 14229-1 in a few places; see `negative.py`.
"""

from __future__ import annotations

from .identified import request as request_identified

LOCAL = 0x21
IDENTIFICATION = 0x1A
IDENTIFIER_BYTES = 1


def request_local(identifier: int) -> bytes:
    """Return the message that asks for the data behind a local identifier (0 to FF)."""
    return request_identified(LOCAL, (identifier,), IDENTIFIER_BYTES)


def request_identification(option: int) -> bytes:
    """Return the message that asks for an item of a unit's identification (0 to FF)."""
    return request_identified(IDENTIFICATION, (option,), IDENTIFIER_BYTES)
