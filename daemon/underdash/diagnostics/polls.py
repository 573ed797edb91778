"""A request that is ready to be sent and read, and the template the guard lets it out by."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from ..bus.frames import Frame, Handler
from ..bus.templates import Parts, Span, Template, TemplateError, template
from ..contract.layout import Field
from ..contract.requests import ControlUnit
from ..signals.store import Slot
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

    @property
    def bus(self) -> str:
        """Role of the bus it goes out on."""
        return self.unit.bus

    @property
    def signals(self) -> tuple[str, ...]:
        """What it feeds."""
        return tuple(self.slots)

    @property
    def lane(self) -> Lane:
        """The unit as the bus sees it; two names for one unit give one lane."""
        return self.unit.bus, self.frame.key, self.response_key, self.unit.address

    def __repr__(self) -> str:
        return f"<poll {self.name}>"


def templates_of(polls: Iterable[CompiledPoll]) -> tuple[list[Template], list[str]]:
    """Return what the guard lets out: a template a unit and protocol, identifiers kept to those that are asked for.

    With it come sentences about requests that make none: a plug-in's protocol may say that its identifier sits where
    it cannot be.
    """
    groups: dict[tuple[str, str, bytes], list[CompiledPoll]] = {}
    for poll in polls:
        groups.setdefault((poll.unit.name, poll.speech.name, _pinned(poll)), []).append(poll)
    found: list[Template] = []
    problems: list[str] = []
    for group in groups.values():
        try:
            found.append(template(group[0].unit, parts_of(group)))
        except TemplateError as exc:
            names = ", ".join(poll.name for poll in group)
            problems.append(f"requests {names}: {exc} The protocol {group[0].speech.name!r} has to be corrected.")
    return found, problems


def parts_of(group: Sequence[CompiledPoll]) -> Parts:
    """Return the parts of requests that differ in nothing but the identifier."""
    one = group[0]
    payloads = [poll.payload for poll in group]
    spans = tuple(_span(payloads, at, size) for at, size in _runs(one.speech.varies(one.unit)))
    speech = one.speech
    return Parts(
        one.payload,
        spans,
        speech.command_at(one.unit),
        speech.address_at(one.unit),
        speech.name if speech.maker else None,
    )


def _pinned(poll: CompiledPoll) -> bytes:
    varies = poll.speech.varies(poll.unit)
    return bytes(0 if at in varies else byte for at, byte in enumerate(poll.payload))


def _runs(positions: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield (first, size) of positions that follow each other."""
    start = 0
    for index in range(1, len(positions) + 1):
        if index == len(positions) or positions[index] != positions[index - 1] + 1:
            yield positions[start], index - start
            start = index


def _span(payloads: Iterable[bytes], at: int, size: int) -> Span:
    """Return the span of what really stands there: a plug-in may spell an identifier in its own way."""
    ranges: list[tuple[int, int]] = []
    for number in sorted({int.from_bytes(payload[at : at + size]) for payload in payloads}):
        if ranges and ranges[-1][1] + 1 == number:
            ranges[-1] = (ranges[-1][0], number)
        else:
            ranges.append((number, number))
    return Span(at, size, tuple(ranges))
