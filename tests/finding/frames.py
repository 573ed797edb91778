"""Streams made by hand for the tests of this room."""

from __future__ import annotations

from collections.abc import Sequence

from underdash.bus.frames import Frame
from underdash.finding.heard import Stream
from underdash.finding.reading import heard_from


def stream(*payloads: bytes, can_id: int = 0x1A4, every_s: float = 0.1) -> Stream:
    """One id whose frames have these payloads, one every `every_s`."""
    (one,) = heard_from([("drive", Frame(can_id, data, at=every_s * n)) for n, data in enumerate(payloads)]).streams
    return one


def columns(*bytes_of: Sequence[int], can_id: int = 0x1A4) -> Stream:
    """One id from the values of each byte over time."""
    return stream(*(bytes(row) for row in zip(*bytes_of, strict=True)), can_id=can_id)
