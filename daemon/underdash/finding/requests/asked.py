"""Requests and their answers, paired: what was asked of whom, and what came of it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from .beginnings import NEGATIVE, REPLY_BIT
from .messages import Message
from .senders import Sender, speaks_to_all

FIRST_S = 1.0
"""How long after its request an answer may begin; P2 of ISO 15765-4 is 0.05 s, testers allow far more."""
PENDING_S = 5.5
"""How long after "still working" the next word may come: P2* of ISO 14229-1 is 5 s, and a little for the bus."""
PENDING = 0x78
ECHOED: Mapping[int, int] = {
    0x01: 1, 0x02: 1, 0x05: 1, 0x06: 1, 0x08: 1, 0x09: 1, 0x10: 1, 0x11: 1, 0x19: 1, 0x1A: 1, 0x21: 1, 0x22: 2,
    0x27: 1, 0x28: 1, 0x2C: 1, 0x2E: 2, 0x2F: 2, 0x30: 1, 0x31: 1, 0x32: 1, 0x33: 1, 0x3B: 1, 0x85: 1,
}  # fmt: skip
"""Bytes after the service that an answer repeats (SAE J1979, ISO 14229-1, ISO 14230-3; of some from memory)."""
SEVERAL = {0x01: 1, 0x22: 2}
"""Services whose request may name several identifiers, and the bytes of one."""
SUPPRESS = 0x80
"""Bit of a subfunction that asks for no positive answer, which the answer does not repeat (ISO 14229-1)."""


@dataclass(slots=True)
class Exchange:
    """One request and what came of it.

    Attributes:
        to: who was asked: the sender of the request.
        by: who answered; None where nobody did.
        request: None where it was not recorded.
        answer: positive or negative, the last word on it; None where none came whole.
        broken: one that did not.
        pending: how often the unit said before that it was still working.
        code: of a refusal in a maker's format, which only the format can read.
    """

    to: Sender | None
    by: Sender | None
    request: Message | None
    answer: Message | None = None
    broken: Message | None = None
    pending: int = 0
    code: int | None = None

    @property
    def refused(self) -> int | None:
        """The code of a refusal."""
        if self.code is not None:
            return self.code
        data = self.answer.data if self.answer is not None else b""
        return data[2] if len(data) > 2 and data[0] == NEGATIVE else None

    @property
    def latency_s(self) -> float | None:
        """From the end of the request to the beginning of the answer."""
        return None if self.request is None or self.answer is None else self.answer.at - self.request.end


Subject = tuple[int, bytes | None]
"""What an answer is about: the service and what it repeats after it, None for a refusal, which repeats nothing."""


def answers(answer: bytes, request: bytes) -> bool:
    """Say whether a message can be the answer to a request, by its service and what it repeats."""
    return subject(answer) in subjects(request)


def subject(answer: bytes) -> Subject:
    """Return what an answer is about."""
    if len(answer) > 1 and answer[0] == NEGATIVE:
        return answer[1], None
    number = answer[0] & ~REPLY_BIT
    return number, answer[1 : 1 + ECHOED.get(number, 0)]


def subjects(request: bytes) -> set[Subject]:
    """Return what an answer to a request can be about."""
    number = request[0]
    width = ECHOED.get(number, 0)
    if number in SEVERAL:
        said = {request[at : at + width] for at in range(1, len(request), width)}
    else:
        said = {request[1 : 1 + width]}
        if width == 1 and len(request) > 1:
            said.add(bytes((request[1] & ~SUPPRESS,)))
    return {(number, None), *((number, one) for one in said)}


class Line:
    """The requests of one sender, for looking up what was open at a time.

    Args:
        to: the sender.
        requests: what it asked, in the order in which that was complete.
    """

    def __init__(self, to: Sender, requests: Sequence[Message]) -> None:
        self.to = to
        self._about: dict[Subject, tuple[list[float], list[Message]]] = {}
        known: dict[bytes, set[Subject]] = {}
        for message in requests:
            if message.data not in known:
                known[message.data] = subjects(message.data)
            for one in known[message.data]:
                ends, messages = self._about.setdefault(one, ([], []))
                ends.append(message.end)
                messages.append(message)

    def __contains__(self, one: object) -> bool:
        """Say whether any request can have an answer about this."""
        return one in self._about

    def fitting(self, answer: Message) -> Iterator[Message]:
        """Yield the requests that an answer can belong to, the latest first."""
        ends, messages = self._about.get(subject(answer.data), ((), ()))
        row = bisect_right(ends, answer.at) - 1
        while row >= 0 and answer.at - ends[row] <= FIRST_S:
            yield messages[row]
            row -= 1

    def open_for(self, answer: Message, taken: Collection[tuple[Sender, float]]) -> Message | None:
        """Return the latest request that an answer can belong to and that has none yet."""
        return next((one for one in self.fitting(answer) if (self.to, one.at) not in taken), None)


def paired(by: Sender, said: Sequence[Message], lines: Sequence[Line]) -> list[Exchange]:
    """Pair the answers of one unit with the requests of those that ask it.

    An answer belongs to the request on which the unit said last that it still works on it, else to the latest one
    that it fits and that has no answer yet. One that fits none is an answer without a request.
    """
    found: list[Exchange] = []
    taken: set[tuple[Sender, float]] = set()
    waiting: Exchange | None = None
    until = 0.0
    for answer in said:
        asked = None if waiting is None else waiting.request
        if answer.at > until or (asked is not None and not answers(answer.data, asked.data)):
            waiting = None
        one = waiting
        if one is None:
            one = _opened(by, answer, lines, taken)
            found.append(one)
        if answer.broken is not None:
            one.broken, waiting = answer, None
        elif is_pending(answer):
            one.pending, waiting, until = one.pending + 1, one, answer.at + PENDING_S
        else:
            one.answer, waiting = answer, None
    return found


def is_pending(answer: Message) -> bool:
    """Say whether a unit only says that it is still working."""
    return len(answer.data) > 2 and answer.data[0] == NEGATIVE and answer.data[2] == PENDING


def _opened(by: Sender, answer: Message, lines: Sequence[Line], taken: set[tuple[Sender, float]]) -> Exchange:
    """Return the exchange of the latest request that an answer fits."""
    fitting = [(message, line.to) for line in lines if (message := line.open_for(answer, taken)) is not None]
    if not fitting:
        return Exchange(None, by, None)
    # of two at once the one to this unit alone is meant
    request, to = max(fitting, key=lambda each: (each[0].end, not speaks_to_all(each[1])))
    taken.add((to, request.at))
    return Exchange(to, by, request)
