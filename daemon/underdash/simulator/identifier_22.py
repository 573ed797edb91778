"""Service 22 of ISO 14229-1 on the control unit's side: data by identifier, several of them in one request."""

from __future__ import annotations

from collections.abc import Mapping

from ..contract.signals import Value
from .manners import DEFAULT, Manners
from .spelling import OUT_OF_RANGE, WRONG_LENGTH, Known, spelt

IDENTIFIER_BYTES = 2


class Identifier22:
    """Data by identifier, in the order of asking; those the unit does not have are left out of the answer.

    Args:
        known: what it has.
        manners: how many it takes at once; for more than that the request has the wrong length.
    """

    number = 0x22
    echoed = IDENTIFIER_BYTES

    def __init__(self, known: Known, manners: Manners = DEFAULT) -> None:
        self._known = known
        self._manners = manners

    def reply(self, asked: bytes, values: Mapping[str, Value]) -> bytes | int:
        """See `Service`."""
        count, rest = divmod(len(asked), IDENTIFIER_BYTES)
        if rest or not 1 <= count <= self._manners.identifiers_at_once:
            return WRONG_LENGTH
        body = b""
        for at in range(0, len(asked), IDENTIFIER_BYTES):
            identifier = asked[at : at + IDENTIFIER_BYTES]
            fields = self._known.get(int.from_bytes(identifier))
            if fields is not None:
                body += identifier + spelt(fields, values)
        return body or OUT_OF_RANGE
