"""Service 01 of SAE J1979 on the control unit's side: current values, up to six parameters a request."""

from __future__ import annotations

from collections.abc import Mapping

from ..contract.signals import Value
from ..diagnostics.parameters import PARAMETERS
from .manners import DEFAULT, Manners
from .spelling import OUT_OF_RANGE, WRONG_LENGTH, Known, mask_of, spelt

MASK_EVERY = 0x20


class Service01:
    """Current values by parameter; those the unit does not have are left out of the answer.

    Args:
        known: what it has.
        manners: how many it takes at once.
    """

    number = 0x01
    echoed = 1

    def __init__(self, known: Known, manners: Manners = DEFAULT) -> None:
        self._known = known
        self._manners = manners

    def reply(self, asked: bytes, values: Mapping[str, Value]) -> bytes | int:
        """See `Service`."""
        if not 1 <= len(asked) <= self._manners.parameters_at_once:
            return WRONG_LENGTH
        body = b""
        for pid in asked:
            data = self._parameter(pid, values)
            if data is not None:
                body += bytes((pid,)) + data
        return body or OUT_OF_RANGE

    def _parameter(self, pid: int, values: Mapping[str, Value]) -> bytes | None:
        if pid % MASK_EVERY == 0:
            return mask_of(set(self._known), pid)
        fields = self._known.get(pid)
        if fields is None:
            return None
        parameter = PARAMETERS.get(pid)
        return spelt(fields, values, parameter.size if parameter else 1)
