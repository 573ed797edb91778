"""Negative responses: what a control unit's "no" means and what to do about it.

Codes: ISO 14229-1 annex A as udsoncan and py-uds list them. KWP 2000 (ISO 14230-3) uses the same numbers, a few of
them with other meanings: see `_KWP` (as scapy lists them).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ..contract.requests import Answer

NEGATIVE = 0x7F
"""First byte of a negative response; the service it refuses and the code follow."""


class Remedy(StrEnum):
    """What follows from a code."""

    PARK = "park"
    """The unit never will: not asked again this journey, and said so."""
    LATER = "later"
    """It could not just now: asked again soon."""
    WAIT = "wait"
    """It is still working: the clock runs anew with the longer time."""
    SLOWLY = "slowly"
    """It may, under other conditions: asked again rarely."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """A code of a negative response: what it says, as a sentence fragment after "the unit says", and the remedy."""

    code: int
    text: str
    remedy: Remedy

    def __str__(self) -> str:
        return f"{self.text} (code {self.code:02X})"


_TABLE = (
    Meaning(0x10, "no, without a reason", Remedy.SLOWLY),
    Meaning(0x11, "it does not have this service", Remedy.PARK),
    Meaning(0x12, "it does not have this kind of request", Remedy.PARK),
    Meaning(0x13, "the request has the wrong length or format", Remedy.PARK),
    Meaning(0x14, "the answer would be too long for it", Remedy.PARK),
    Meaning(0x21, "it is busy", Remedy.LATER),
    Meaning(0x22, "conditions are not right", Remedy.SLOWLY),
    Meaning(0x24, "the requests came in the wrong order", Remedy.SLOWLY),
    Meaning(0x25, "a unit behind it does not answer", Remedy.SLOWLY),
    Meaning(0x26, "a fault keeps it from it", Remedy.SLOWLY),
    Meaning(0x31, "it does not know this identifier", Remedy.PARK),
    Meaning(0x33, "it is locked against reading this", Remedy.PARK),
    Meaning(0x34, "it wants to know who asks", Remedy.PARK),
    Meaning(0x78, "it is still working on the answer", Remedy.WAIT),
    Meaning(0x7E, "it does not answer this in the default session", Remedy.PARK),
    Meaning(0x7F, "it does not have this service in the default session", Remedy.PARK),
)
_BY_CODE = {meaning.code: meaning for meaning in _TABLE}
_CONDITIONS = range(0x81, 0x95)

KWP_SERVICES = frozenset({0x17, 0x18, 0x1A, 0x21})
"""Services that only KWP 2000 has; 22 is in both, and is taken for the newer standard's."""

_KWP = {
    meaning.code: meaning
    for meaning in (
        Meaning(0x12, "it does not have this kind of request, or wants another format", Remedy.PARK),
        Meaning(0x22, "conditions are not right, or the requests came in the wrong order", Remedy.SLOWLY),
        Meaning(0x23, "a routine has not come to its end", Remedy.SLOWLY),
        Meaning(0x80, "it does not have this service in the default session", Remedy.PARK),
    )
}


def meaning(code: int, service: int = 0x22) -> Meaning:
    """Return what a code means; one that is not known is asked again rarely.

    Args:
        code: last byte of the negative response.
        service: of the request, since KWP 2000 gives a few codes other meanings.
    """
    if service in KWP_SERVICES and code in _KWP:
        return _KWP[code]
    if code in _CONDITIONS:
        return Meaning(code, "a condition such as speed, temperature or voltage is not right", Remedy.SLOWLY)
    return _BY_CODE.get(code) or Meaning(code, "no, with a code that is not known here", Remedy.SLOWLY)


def refused(payload: bytes, service: int) -> Answer | None:
    """Read a negative response to `service`; None if the payload is not one."""
    if len(payload) < 3 or payload[0] != NEGATIVE or payload[1] != service:
        return None
    return Answer(None, refused=payload[2])
