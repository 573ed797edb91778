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
    """A code of a negative response.

    Attributes:
        code: the code.
        name: the standard's, for looking it up; nothing for a code that has none.
        text: what it says, as a sentence fragment after "the unit says".
        remedy: what follows.
    """

    code: int
    name: str
    text: str
    remedy: Remedy

    def __str__(self) -> str:
        return (
            f"{self.text} ({self.name}, code {self.code:02X})" if self.name else f"{self.text} (code {self.code:02X})"
        )


_TABLE = (
    Meaning(0x10, "generalReject", "no, without a reason", Remedy.SLOWLY),
    Meaning(0x11, "serviceNotSupported", "it does not have this service", Remedy.PARK),
    Meaning(0x12, "subFunctionNotSupported", "it does not have this kind of request", Remedy.PARK),
    Meaning(0x13, "incorrectMessageLengthOrInvalidFormat", "the request has the wrong length or format", Remedy.PARK),
    Meaning(0x14, "responseTooLong", "the answer would be too long for it", Remedy.PARK),
    Meaning(0x21, "busyRepeatRequest", "it is busy", Remedy.LATER),
    Meaning(0x22, "conditionsNotCorrect", "conditions are not right", Remedy.SLOWLY),
    Meaning(0x24, "requestSequenceError", "the requests came in the wrong order", Remedy.SLOWLY),
    Meaning(0x25, "noResponseFromSubnetComponent", "a unit behind it does not answer", Remedy.SLOWLY),
    Meaning(0x26, "failurePreventsExecutionOfRequestedAction", "a fault keeps it from it", Remedy.SLOWLY),
    Meaning(0x31, "requestOutOfRange", "it does not know this identifier", Remedy.PARK),
    Meaning(0x33, "securityAccessDenied", "it is locked against reading this", Remedy.PARK),
    Meaning(0x34, "authenticationRequired", "it wants to know who asks", Remedy.PARK),
    Meaning(0x78, "requestCorrectlyReceivedResponsePending", "it is still working on the answer", Remedy.WAIT),
    Meaning(
        0x7E, "subFunctionNotSupportedInActiveSession", "it does not answer this in the default session", Remedy.PARK
    ),
    Meaning(
        0x7F, "serviceNotSupportedInActiveSession", "it does not have this service in the default session", Remedy.PARK
    ),
)
_BY_CODE = {meaning.code: meaning for meaning in _TABLE}
_CONDITIONS = range(0x81, 0x95)
_CONDITION_NAMES = {
    0x81: "rpmTooHigh", 0x82: "rpmTooLow", 0x83: "engineIsRunning", 0x84: "engineIsNotRunning",
    0x85: "engineRunTimeTooLow", 0x86: "temperatureTooHigh", 0x87: "temperatureTooLow", 0x88: "vehicleSpeedTooHigh",
    0x89: "vehicleSpeedTooLow", 0x8A: "throttlePedalTooHigh", 0x8B: "throttlePedalTooLow",
    0x8C: "transmissionRangeNotInNeutral", 0x8D: "transmissionRangeNotInGear", 0x8F: "brakeSwitchNotClosed",
    0x90: "shifterLeverNotInPark", 0x91: "torqueConverterClutchLocked", 0x92: "voltageTooHigh", 0x93: "voltageTooLow",
    0x94: "resourceTemporarilyNotAvailable",
}  # fmt: skip

KWP_SERVICES = frozenset({0x17, 0x18, 0x1A, 0x21})
"""Services that only KWP 2000 has; 22 is in both, and is taken for the newer standard's."""

_KWP = {
    meaning.code: meaning
    for meaning in (
        Meaning(
            0x12,
            "subFunctionNotSupported-InvalidFormat",
            "it does not have this kind of request, or wants another format",
            Remedy.PARK,
        ),
        Meaning(
            0x22,
            "conditionsNotCorrect-RequestSequenceError",
            "conditions are not right, or the requests came in the wrong order",
            Remedy.SLOWLY,
        ),
        Meaning(0x23, "routineNotComplete", "a routine has not come to its end", Remedy.SLOWLY),
        Meaning(
            0x80,
            "subFunctionNotSupportedInActiveDiagnosticSession",
            "it does not answer this in the default session",
            Remedy.PARK,
        ),
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
        name = _CONDITION_NAMES.get(code, "")
        return Meaning(code, name, "a condition such as speed, temperature or voltage is not right", Remedy.SLOWLY)
    return _BY_CODE.get(code) or Meaning(code, "", "no, with a code that is not known here", Remedy.SLOWLY)


def refused(payload: bytes, service: int) -> Answer | None:
    """Read a negative response to `service`; None if the payload is not one."""
    if len(payload) < 3 or payload[0] != NEGATIVE or payload[1] != service:
        return None
    return Answer(None, refused=payload[2])
