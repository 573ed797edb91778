"""Why a frame or a request is not let out."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Reason(StrEnum):
    """Kinds of refusals, the order in which they are looked for; counted by the guard."""

    # about the bus and the car
    NOT_CLASSIC = "not a classic data frame"
    QUIET = "quiet"
    RECORDED = "a recorded drive"
    TRANSMIT_OFF = "transmit is off"
    UNPROVEN = "rate not proven"
    LISTENS = "interface listens only"
    IGNITION = "ignition not on"
    IGNITION_UNSEEN = "ignition field not proven"
    WRONG_CAR = "car not recognised"
    # about the frame
    NO_TEMPLATE = "not a declared request"
    NO_ANSWER_DUE = "flow control nobody waits for"
    OTHER_TESTER = "another tester"
    UNCONFIRMED = "last frame not confirmed"
    BLOCKED = "bus blocked"
    ECU_GAP = "too soon for this unit"
    RATE = "request rate"
    LOAD = "bus load"
    # about a declared request, at start-up
    SERVICE = "service not free"
    MAKER_PERMISSION = "maker's command not permitted"
    MAKER_EVIDENCE = "maker's command not shown to read"
    LOOKS_LIKE = "could be read as a denied service"
    ID_IN_USE = "id is in use in the car"


PASSING = frozenset({Reason.UNCONFIRMED, Reason.ECU_GAP, Reason.RATE, Reason.LOAD})
"""Reasons that end by themselves within a second: asking again is enough, no person needs to act."""

MOMENTARY = PASSING | {Reason.OTHER_TESTER, Reason.BLOCKED}
"""Reasons that end by themselves, though perhaps only in half a minute, as long as nobody goes on causing them."""


@dataclass(frozen=True, slots=True)
class Refusal:
    """A refusal with a sentence that says what is wrong and what to do."""

    reason: Reason
    sentence: str

    def __str__(self) -> str:
        return self.sentence
