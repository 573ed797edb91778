"""A request for one identifier, ready to be sent and read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..bus.frames import Frame, Handler
from ..contract.layout import Field
from ..contract.requests import ControlUnit
from ..signals.store import Slot
from . import isotp
from .speech import Speech

Lane = tuple[str, int, int, int | None]
"""One control unit as the bus sees it: bus, request key, response key, address. One request at a time is open on it."""


@dataclass(frozen=True, slots=True, eq=False)
class CompiledPoll:
    """A request that is ready to be sent.

    Attributes:
        name: unit, protocol and identifier, for people and sources ("engine 01 0B").
        payload: the request without padding.
        frame: what is sent, padded as the unit wants it.
        response_key: dispatch key of its answer.
        fields, slots: what its answer carries and where that goes.
        references: signals that its fields take their full scale from.
        read: puts an answer's data into the slots.
        longest: bytes of an answer from which on every field is there.
        most_in_a_frame, most: identifiers that one frame, and one request, may ask for together with this one.
        mask: a support mask of service 01, which is not asked for together with values.
        helper: nobody declared it; it is asked because another one needs it.
    """

    name: str
    unit: ControlUnit
    speech: Speech
    identifier: int
    payload: bytes
    frame: Frame
    response_key: int
    fields: tuple[Field, ...]
    slots: Mapping[str, Slot]
    references: frozenset[str]
    read: Handler
    longest: int
    period_s: float
    once: bool
    most_in_a_frame: int = 1
    most: int = 1
    mask: bool = False
    helper: bool = False

    @property
    def polls(self) -> tuple[CompiledPoll, ...]:
        """What a request for it asks for: itself."""
        return (self,)

    @property
    def frames(self) -> tuple[Frame, ...]:
        """The frames of a request for it."""
        return (self.frame,)

    @property
    def bus(self) -> str:
        """Role of the bus it goes out on."""
        return self.unit.bus

    @property
    def signals(self) -> tuple[str, ...]:
        """What it feeds."""
        return tuple(self.slots)

    @property
    def in_several_frames(self) -> bool:
        """Its answer takes more than one frame, by what its fields need."""
        needed = 1 + self.speech.identifier_bytes + self.longest
        return self.speech.over_isotp and needed > isotp.room(self.unit.address)

    @property
    def lane(self) -> Lane:
        """The unit as the bus sees it; two names for one unit give one lane."""
        return self.unit.bus, self.frame.key, self.response_key, self.unit.address

    def reads_as(self, other: CompiledPoll) -> bool:
        """Say whether an answer gives the same of both."""
        signals = {name: slot.signal for name, slot in self.slots.items()}
        return self.fields == other.fields and signals == {name: slot.signal for name, slot in other.slots.items()}

    def __repr__(self) -> str:
        return f"<poll {self.name}>"
