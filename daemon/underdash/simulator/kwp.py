"""Services 21 and 1A of ISO 14230-3 on the control unit's side: data by a local identifier, and who the unit is."""

from __future__ import annotations

from collections.abc import Mapping

from ..contract.signals import Value
from .spelling import NO_SUCH_KIND, Known, spelt


class OneByte:
    """A service that gives a block of data for one byte; an unknown byte, or more than one, is a kind it has not.

    Args:
        number: first byte of its requests.
        known: what it has.
    """

    echoed = 1

    def __init__(self, number: int, known: Known) -> None:
        self.number = number
        self._known = known

    def reply(self, asked: bytes, values: Mapping[str, Value]) -> bytes | int:
        """See `Service`."""
        fields = self._known.get(asked[0]) if len(asked) == 1 else None
        return NO_SUCH_KIND if fields is None else asked + spelt(fields, values)


def identifier_21(known: Known) -> OneByte:
    """Return the service that reads data by a local identifier."""
    return OneByte(0x21, known)


def identifier_1a(known: Known) -> OneByte:
    """Return the service that reads who the unit is."""
    return OneByte(0x1A, known)
