"""How a request stands: why its value is there, or is not. What is told and what it means come from here together."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ..bus.refusals import Reason, Refusal
from .negative import Meaning, Remedy


class How(StrEnum):
    """What there is to say of a request."""

    PARKED = "not asked again this journey"
    UNWANTED = "nobody wants it"
    HELD = "held back by the guard"
    FLOW_HELD = "its flow control held back by the guard"
    PENDING = "the unit still works on it"
    ENDLESS = "the unit never came to an end"
    BUSY = "the unit is busy"
    DECLINED = "the unit declines for now"
    SHORT = "the answer is too short"
    BROKEN = "the answer broke off"
    UNREADABLE = "something unreadable came"
    MISTAKEN = "a plug-in's protocol cannot read the answer"
    SILENT = "the unit does not answer"
    ANSWERED = "answered"
    WAITING = "waits for its turn"


@dataclass(frozen=True, slots=True)
class Told:
    """How it stands, in a sentence; `reason` is the guard's where it holds something back."""

    how: How
    text: str
    reason: Reason | None = None


@dataclass(frozen=True, slots=True)
class PollStatus:
    """How a poll is: `told` says when it was answered, or why there is no value.

    Attributes:
        answered_s: seconds since its last answer, None if there was none this journey.
    """

    name: str
    signals: tuple[str, ...]
    wanted: bool
    parked: bool
    told: Told
    answered_s: float | None

    @property
    def sentence(self) -> str:
        """What is told, for a person."""
        return self.told.text


_REMEDIES = {
    Remedy.PARK: How.PARKED,
    Remedy.LATER: How.BUSY,
    Remedy.WAIT: How.PENDING,
    Remedy.SLOWLY: How.DECLINED,
}


def says(unit: str, what: Meaning) -> Told:
    """Return what a negative response comes to."""
    return Told(_REMEDIES[what.remedy], f"{unit} says {what}")


def endless(unit: str, seconds: float) -> Told:
    """Return what it comes to that a unit said that it is at work, and gave no answer all the same."""
    text = (
        f"{unit} said that it is still working on the answer, and never came to an end within {seconds:.0f} s; if it "
        "stays so, take this request out of the description"
    )
    return Told(How.ENDLESS, text)


def unreadable(unit: str, why: str) -> Told:
    """Return what it comes to that something came where an answer was due, and was none."""
    return Told(How.UNREADABLE, f"{unit} sent something that cannot be read: {why}")


def held(refusal: Refusal) -> Told:
    """Return what it comes to that the guard held a request back."""
    return Told(How.HELD, f"not sent: {refusal.sentence}", refusal.reason)


def flow_held(unit: str, refusal: Refusal) -> Told:
    """Return what it comes to that the guard held the flow control of an answer back."""
    text = f"the long answer of {unit} does not go on, its flow control was not sent: {refusal.sentence}"
    return Told(How.FLOW_HELD, text, refusal.reason)
