"""Requests for several identifiers at once: their message and their frames."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from ..bus.frames import Frame
from ..contract.errors import UnderdashError
from ..contract.requests import ControlUnit
from . import isotp, pci
from .polls import CompiledPoll, Lane
from .segmentation import Segmentation
from .speech import Speech

KEPT = 256
"""Batches that are kept ready; the identifiers due together are mostly the same ones."""


class Request(Protocol):
    """What is sent and waited for: one poll, or several of one unit and protocol."""

    @property
    def name(self) -> str:
        """What it asks for, for people."""
        ...

    @property
    def unit(self) -> ControlUnit:
        """Whom it asks."""
        ...

    @property
    def speech(self) -> Speech:
        """In which protocol."""
        ...

    @property
    def bus(self) -> str:
        """Role of the bus it goes out on."""
        ...

    @property
    def lane(self) -> Lane:
        """The unit as the bus sees it."""
        ...

    @property
    def frame(self) -> Frame:
        """The frame that begins it."""
        ...

    @property
    def frames(self) -> tuple[Frame, ...]:
        """All of its frames."""
        ...

    @property
    def polls(self) -> tuple[CompiledPoll, ...]:
        """What it asks for."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """A request for several identifiers.

    Attributes:
        polls: what it asks for, in that order.
        message: the request without ISO-TP's bytes.
        frames: what is sent; more than one where the message takes several.
    """

    polls: tuple[CompiledPoll, ...]
    message: bytes
    frames: tuple[Frame, ...]

    @property
    def name(self) -> str:
        """What it asks for, for people."""
        identifiers = " ".join(poll.name.rpartition(" ")[2] for poll in self.polls)
        return f"{self.polls[0].name.rpartition(' ')[0]} {identifiers}"

    @property
    def unit(self) -> ControlUnit:
        """Whom it asks."""
        return self.polls[0].unit

    @property
    def speech(self) -> Speech:
        """In which protocol."""
        return self.polls[0].speech

    @property
    def bus(self) -> str:
        """Role of the bus it goes out on."""
        return self.polls[0].bus

    @property
    def lane(self) -> Lane:
        """The unit as the bus sees it."""
        return self.polls[0].lane

    @property
    def frame(self) -> Frame:
        """The frame that begins it."""
        return self.frames[0]

    def __repr__(self) -> str:
        return f"<batch {self.name}>"


class Batches:
    """Makes batches and keeps the last ones."""

    def __init__(self) -> None:
        self._made: dict[tuple[CompiledPoll, ...], Batch] = {}

    def of(self, polls: Sequence[CompiledPoll]) -> Batch:
        """Return the request for these polls of one unit and protocol."""
        key = tuple(polls)
        made = self._made.get(key)
        if made is None:
            if len(self._made) >= KEPT:
                self._made.pop(next(iter(self._made)))
            made = self._made[key] = _batch(key)
        return made


def _batch(polls: tuple[CompiledPoll, ...]) -> Batch:
    unit, speech = polls[0].unit, polls[0].speech
    if speech.message is None:
        raise UnderdashError(f"{speech.name} asks for one identifier at a time; {len(polls)} were to go together")
    message = speech.message(poll.identifier for poll in polls)
    return Batch(polls, message, frames_of(unit, message))


def frames_of(unit: ControlUnit, message: bytes) -> tuple[Frame, ...]:
    """Return the frames that carry a message to a unit, padded as it wants them."""
    sending = Segmentation(message, unit.address, reply_prefix=unit.reply_prefix)
    datas = [sending.start(0.0)]
    sending.receive(pci.flow_control(pci.FlowStatus.CONTINUE, prefix=unit.reply_prefix), 0.0)
    datas += sending.due(0.0, len(message))
    return tuple(Frame(unit.request_id, pci.padded(data, unit.padding), unit.extended) for data in datas)


def one_frame(unit: ControlUnit, speech: Speech, identifiers: Sequence[int]) -> bytes:
    """Return the data of the frame that asks for identifiers, unpadded; raises UnderdashError if they do not fit."""
    if speech.message is None:
        raise UnderdashError(f"{speech.name} asks for one identifier at a time")
    return isotp.wrap(speech.message(identifiers), unit.address)
