"""Whole messages of ISO 15765-2 as somebody overhears them: what each sender said, and where its sequences broke.

A sender is an id on a bus, and where frames begin with an address byte (extended and mixed addressing) that byte too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from ...diagnostics import pci
from ...diagnostics.isotp import Broken
from ...diagnostics.reassembly import Reassembly
from ..heard import Flags, Heard, Stream
from ..reading import Progress
from .beginnings import NEGATIVE, REPLY_BIT, beginnings, two_sided
from .senders import Sender

LEAST_START = 3
"""Bytes of a message that broke by which it can be told what it was about."""


@dataclass(frozen=True, slots=True)
class Message:
    """A message.

    Attributes:
        at, end: seconds at which it began and was complete.
        data: its bytes; of one that broke, the first of them.
        frames: how many it took.
        broken: how it ended before it was complete.
    """

    at: float
    end: float
    data: bytes
    frames: int = 1
    broken: Broken | None = None

    @property
    def service(self) -> int:
        """The service it asks for, answers or refuses."""
        if self.data[0] == NEGATIVE:
            return self.data[1] if len(self.data) > 1 else 0
        return self.data[0] & ~REPLY_BIT


@dataclass(slots=True)
class Spoken:
    """All that one sender said.

    Attributes:
        sender: who.
        requests, answers: its messages, in their order, those that broke among them.
        faults: every sequence that did not become a message; of some not even the beginning was heard.
        begun: when messages in several frames began.
        flows: when it sent flow control.
        frames: how many frames that took.
    """

    sender: Sender
    requests: list[Message] = field(default_factory=list)
    answers: list[Message] = field(default_factory=list)
    faults: list[Broken] = field(default_factory=list)
    begun: list[float] = field(default_factory=list)
    flows: list[float] = field(default_factory=list)
    frames: int = 0


def message_of(stream: Stream, row: int) -> Message:
    """Return one frame of a stream as a message."""
    at = float(stream.at[row])
    return Message(at, at, stream.data[row, : stream.length[row]].tobytes())


def speakers(heard: Heard, progress: Progress | None = None) -> Iterator[Spoken]:
    """Yield who may speak ISO-TP with somebody else."""
    found = list(two_sided(list(beginnings(heard))))
    for number, one in enumerate(found):
        yield _listened(one.sender, one.stream, one.rows)
        if progress is not None:
            progress((number + 1) / len(found))


def _listened(sender: Sender, stream: Stream, rows: Flags) -> Spoken:
    spoken = Spoken(sender, frames=int(rows.sum()))
    receiver = Reassembly(sender.prefix, most_bytes=pci.MOST_SHORT_BYTES)
    began, count, at = 0.0, 0, 0.0
    for row in np.flatnonzero(rows).tolist():
        at, data = float(stream.at[row]), stream.data[row, : stream.length[row]].tobytes()
        pdu = pci.parse(data, sender.prefix)
        said = receiver.receive(data, at)
        if said.broken is not None:
            _break(spoken, said.broken, began, at, count)
        if isinstance(pdu, pci.First):
            began, count = at, 0
            spoken.begun.append(at)
        elif isinstance(pdu, pci.FlowControl):
            spoken.flows.append(at)
        count += 1
        if said.payload is not None:
            single = isinstance(pdu, pci.Single)
            _sort(spoken, Message(at if single else began, at, said.payload, 1 if single else count))
    late = receiver.tick(float("inf"))
    if late is not None:
        _break(spoken, late, began, at, count)
    return spoken


def _break(spoken: Spoken, broken: Broken, began: float, at: float, count: int) -> None:
    spoken.faults.append(broken)
    if len(broken.start) >= LEAST_START:
        _sort(spoken, Message(began, at, broken.start, count, broken))


def _sort(spoken: Spoken, message: Message) -> None:
    (spoken.answers if message.data[0] & REPLY_BIT else spoken.requests).append(message)
