"""Whole messages of ISO 15765-2 as somebody overhears them: what each sender said, and where its sequences broke.

A sender is an id on a bus, and where frames begin with an address byte (extended and mixed addressing) that byte too.
Streams that cannot be ISO-TP are told by whole columns at once; only what is left is put together frame by frame.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from ..bus.frames import id_text, key_of
from ..diagnostics import pci
from ..diagnostics.isotp import Broken
from ..diagnostics.reassembly import Reassembly
from .heard import Flags, Heard, Stream

LEAST_SHARE = 0.9
"""Of a sender's frames so many read as ISO-TP; the rest may be wake-up frames and the like (a choice)."""
MOST_PREFIXES = 32
"""Address bytes looked at on one id; there are hardly more units on one (a choice)."""
LEAST_START = 3
"""Bytes of a message that broke by which it can be told what it was about."""
REPLY_BIT = 0x40
"""What tells an answer's first byte from a request's (ISO 14229-1, SAE J1979 and ISO 14230-3 alike)."""
NEGATIVE = 0x7F


@dataclass(frozen=True, slots=True, order=True)
class Sender:
    """Who says something: bus, id, and the address byte its frames begin with, None without."""

    bus: str
    id: int
    extended: bool = False
    prefix: int | None = None

    def __str__(self) -> str:
        """Write as a person reads it: ``7E8``, ``6F1 address 12``."""
        return self.name + ("" if self.prefix is None else f" address {self.prefix:02X}")

    @property
    def name(self) -> str:
        """The id in hex digits."""
        return id_text(key_of(self.id, self.extended))


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


def speakers(heard: Heard) -> Iterator[Spoken]:
    """Yield who may speak ISO-TP: without an address byte, and, where it reads so too, with each there is."""
    for stream in heard:
        everything = np.ones(len(stream), dtype=bool)
        if np.mean(fits(stream, 0)) >= LEAST_SHARE:
            yield from _listened(stream, everything, None)
        prefixes = np.unique(stream.data[:, 0]) if stream.width else ()
        behind = fits(stream, 1)
        if len(prefixes) <= MOST_PREFIXES and len(behind) and np.mean(behind) >= LEAST_SHARE:
            for prefix in prefixes:
                yield from _listened(stream, stream.data[:, 0] == prefix, int(prefix))


def fits(stream: Stream, start: int) -> Flags:
    """Say of each frame whether it reads as ISO-TP from byte `start` on, as far as a frame by itself can tell."""
    if stream.width <= start + 1:
        return np.zeros(len(stream), dtype=bool)
    head, after = stream.data[:, start], stream.length.astype(np.int64) - start
    kind, low = head >> 4, (head & 0x0F).astype(np.int64)
    body = stream.data[:, start + 1].astype(np.int64)
    single = (kind == pci.Kind.SINGLE) & (low > 0) & (low < after)
    longer = (low << 8 | body) >= np.minimum(after, pci.FRAME_BYTES - start)
    first = (kind == pci.Kind.FIRST) & (stream.length == pci.FRAME_BYTES) & (longer | ((low == 0) & (body == 0)))
    later = (kind == pci.Kind.CONSECUTIVE) & (after > 1)
    flow = (kind == pci.Kind.FLOW_CONTROL) & (low <= pci.FlowStatus.OVERFLOW) & (after >= 3)
    said: Flags = single | first | later | flow
    return said


def _listened(stream: Stream, rows: Flags, prefix: int | None) -> Iterator[Spoken]:
    """Yield a sender unless what it says cannot be requests and answers."""
    spoken = Spoken(Sender(stream.bus, stream.id, stream.extended, prefix), frames=int(rows.sum()))
    if not _begins_well(stream, rows, 0 if prefix is None else 1):
        return
    receiver = Reassembly(prefix, most_bytes=pci.MOST_SHORT_BYTES)
    began, count, at = 0.0, 0, 0.0
    for row in np.flatnonzero(rows).tolist():
        at, data = float(stream.at[row]), stream.data[row, : stream.length[row]].tobytes()
        pdu = pci.parse(data, prefix)
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
    yield spoken


def _break(spoken: Spoken, broken: Broken, began: float, at: float, count: int) -> None:
    spoken.faults.append(broken)
    if len(broken.start) >= LEAST_START:
        _sort(spoken, Message(began, at, broken.start, count, broken))


def _sort(spoken: Spoken, message: Message) -> None:
    (spoken.answers if message.data[0] & REPLY_BIT else spoken.requests).append(message)


def _begins_well(stream: Stream, rows: Flags, start: int) -> bool:
    """Say whether messages begin with what could be a service, and all of them are requests or all are answers."""
    data = stream.data[rows]
    if data.shape[1] < start + 3:
        data = np.pad(data, ((0, 0), (0, start + 3 - data.shape[1])))
    kind = data[:, start] >> 4
    begins = kind <= pci.Kind.FIRST
    if not begins.any():
        return bool((kind == pci.Kind.FLOW_CONTROL).any())
    service = np.where(kind == pci.Kind.SINGLE, data[:, start + 1], data[:, start + 2])[begins]
    replies = (service & REPLY_BIT) != 0
    number = service & ~np.uint8(REPLY_BIT)
    known = ((number >= 0x01) & (number <= 0x3E)) | ((number >= 0x80) & (number <= 0xBE))
    good = np.mean(known | (service == NEGATIVE)) >= LEAST_SHARE
    return bool(good and (replies.mean() >= LEAST_SHARE or replies.mean() <= 1 - LEAST_SHARE))
