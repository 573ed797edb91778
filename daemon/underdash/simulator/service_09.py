"""Service 09 of SAE J1979 on the control unit's side: what the car is."""

from __future__ import annotations

from collections.abc import Mapping

from ..contract.signals import Value
from .spelling import OUT_OF_RANGE, WRONG_LENGTH, Known, mask_of, spelt

MASK = 0x00
IDENTIFICATION = 0x02
IDENTIFICATION_SIGNAL = "vehicle.identification"
IDENTIFICATION_LENGTH = 17
ITEMS = b"\x01"
"""On CAN a byte in front of the data says how many items of it there are; here it is always one."""


class Service09:
    """Information by its kind: the support mask, the vehicle's identification, and what the description adds.

    Args:
        known: what the description says that it has, with the number of items as the first byte.
    """

    number = 0x09
    echoed = 1

    def __init__(self, known: Known) -> None:
        self._known = known

    def reply(self, asked: bytes, values: Mapping[str, Value]) -> bytes | int:
        """See `Service`."""
        if len(asked) != 1:
            return WRONG_LENGTH
        kind = asked[0]
        data = self._mask(values) if kind == MASK else self._information(kind, values)
        return OUT_OF_RANGE if data is None else asked + data

    def _mask(self, values: Mapping[str, Value]) -> bytes | None:
        return mask_of(set(self._known) | ({IDENTIFICATION} if IDENTIFICATION_SIGNAL in values else set()), MASK)

    def _information(self, kind: int, values: Mapping[str, Value]) -> bytes | None:
        if kind == IDENTIFICATION and IDENTIFICATION_SIGNAL in values:
            # shorter ones are filled up in front (from memory of the standard)
            text = str(values[IDENTIFICATION_SIGNAL]).encode("ascii", "replace")
            return ITEMS + text[:IDENTIFICATION_LENGTH].rjust(IDENTIFICATION_LENGTH, b"\0")
        fields = self._known.get(kind)
        return None if fields is None else ITEMS + spelt(fields, values, 2)[1:]
