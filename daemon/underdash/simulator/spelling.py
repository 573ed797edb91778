"""What the services of a simulated control unit share: true values become the bytes of an answer, or a refusal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from ..broadcast.encoder import encode_fields
from ..broadcast.fields import length_of
from ..contract.layout import Field
from ..contract.signals import Value
from ..signals.catalogue import CATALOGUE

REPLY = 0x40
NEGATIVE = 0x7F
SERVICE_UNKNOWN = 0x11
NO_SUCH_KIND = 0x12
WRONG_LENGTH = 0x13
TOO_LONG = 0x14
OUT_OF_RANGE = 0x31
PENDING = 0x78
UNSAID = frozenset((SERVICE_UNKNOWN, NO_SUCH_KIND, OUT_OF_RANGE, 0x7E, 0x7F))
"""Codes that a unit keeps to itself when all were asked (ISO 14229-1, functional addressing)."""

Known = Mapping[int, tuple[Field, ...]]
"""What a unit can be asked in one protocol: fields by identifier."""


class Service(Protocol):
    """One service of a control unit.

    Attributes:
        number: first byte of its requests.
        echoed: bytes of a request that the answer repeats.
    """

    number: int
    echoed: int

    def reply(self, asked: bytes, values: Mapping[str, Value]) -> bytes | int:
        """Return what follows the service's byte in an answer, or the code of a refusal.

        Args:
            asked: what follows the service's byte in the request.
            values: the true values in stored units, by signal.
        """


def spelt(fields: tuple[Field, ...], values: Mapping[str, Value], at_least: int = 1) -> bytes:
    """Return the bytes that the fields are read from."""
    units = {f.signal: CATALOGUE[f.signal].unit for f in fields if f.unit is not None and f.signal in CATALOGUE}
    return encode_fields(fields, values, max(length_of(fields), at_least), units=units)


def answerable(fields: tuple[Field, ...], values: Mapping[str, Value]) -> bool:
    """Say whether the values suffice: what has a presence bit may be absent, unless nothing is left then."""
    known = [field.signal in values for field in fields]
    return any(known) and all(there or f.present_if is not None for f, there in zip(fields, known, strict=True))


def negative(service: int, code: int) -> bytes:
    """Return a negative response (ISO 14229-1)."""
    return bytes((NEGATIVE, service, code))


def mask_of(have: set[int], after: int) -> bytes | None:
    """Return which of the 32 numbers after one are there; the last bit says that there is a further mask."""
    have = {number for number in have if number > after}
    if not have:
        return None
    bits = sum(1 << 31 - (number - after - 1) for number in have if number <= after + 0x20)
    further = any(number > after + 0x20 for number in have)
    return (bits | (1 if further else 0)).to_bytes(4)
