"""Another tester on the car's buses: somebody else's requests, at their own times, with their own flow control.

Pure, as the car is, and repeatable: what it sends and when is a script. It may ask on the same ids as we do; then both
hear both answers.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf

from ..bus.frames import Frame, key_of
from ..contract.errors import UnderdashError
from ..contract.requests import ControlUnit
from .manners import Manners
from .transport import Replies, Transport, prefix_of

TESTER = Manners(longest_message=4095)


@dataclass(frozen=True, slots=True)
class Question:
    """What the other tester asks.

    Args:
        unit: whom.
        message: the request, such as ``22 F1 90``; a longer one goes out in several frames.
        at_s: when, after the tester has begun.
        every_s: again after so long; None asks once.
        raw: the message is a whole frame's data, as makers' own formats want it.
    """

    unit: ControlUnit
    message: bytes
    at_s: float = 0.0
    every_s: float | None = None
    raw: bool = False

    def __post_init__(self) -> None:
        if not self.message:
            raise UnderdashError(f"a question to {self.unit.name!r} is empty; give it at least the service's byte")
        if self.every_s is not None and self.every_s <= 0:
            raise UnderdashError(f"a question is asked every {self.every_s:g} s; it has to be more than 0")


@dataclass(slots=True)
class _Due:
    question: Question
    at_s: float


@dataclass(frozen=True, slots=True)
class Told:
    """An answer that the tester has put together: when it was complete, from whom, and its bytes."""

    at: float
    unit: str
    message: bytes


@dataclass(slots=True)
class OtherTester:
    """Somebody else who asks.

    Args:
        script: what is asked, and when.
        manners: block size, gap and patience of its flow control.

    Attributes:
        asked: how many requests were begun.
        told: all answers, those to other people's requests on the same ids among them.
    """

    script: Iterable[Question]
    manners: Manners = TESTER
    asked: int = field(default=0, init=False)
    told: list[Told] = field(default_factory=list, init=False)
    _due: list[_Due] = field(default_factory=list, init=False)
    _ends: dict[ControlUnit, Transport] = field(default_factory=dict, init=False)
    _start: float | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        self._due = [_Due(question, question.at_s) for question in self.script]
        for due in self._due:
            unit = due.question.unit
            if due.question.raw:  # in a maker's format a frame may look like one of ISO-TP and is none
                continue
            ours, theirs = prefix_of(unit.address), prefix_of(unit.reply_prefix)
            self._ends.setdefault(unit, Transport(self.manners, ours, theirs))

    def keys(self, bus: str) -> set[int]:
        """Return the dispatch keys of a bus on which answers come."""
        return {_response_key(unit) for unit in self._ends if unit.bus == bus}

    def advance(self, now: float) -> list[tuple[str, Frame]]:
        """Return the requests that have become due since the last call; the first call is the script's beginning.

        Args:
            now: monotonic seconds; must not go back.
        """
        if self._start is None:
            self._start = now
        out = []
        for due in sorted(self._due, key=lambda each: each.at_s):
            if self._start + due.at_s <= now:
                out.append((due.question.unit.bus, self._ask(due.question, now)))
                due.at_s = inf if due.question.every_s is None else due.at_s + due.question.every_s
        return out

    def next_at(self) -> float:
        """Return when the next request is due; minus infinity before the first call, infinity after the last."""
        if self._start is None:
            return -inf
        return self._start + min((due.at_s for due in self._due), default=inf)

    def answer(self, bus: str, frame: Frame, now: float) -> list[tuple[float, Frame]]:
        """Return what it sends because of a frame: flow control, or the rest of a longer request."""
        out = []
        for unit, end in self._ends.items():
            if unit.bus != bus or _response_key(unit) != frame.key or frame.remote or frame.error or frame.fd:
                continue
            heard = end.hear(frame.data, now)
            if heard.message is not None:
                self.told.append(Told(now, unit.name, heard.message))
            out += _framed(unit, heard.replies, now)
        return out

    def _ask(self, question: Question, now: float) -> Frame:
        self.asked += 1
        if question.raw:
            replies: Replies = [(0.0, question.message)]
        else:
            replies = self._ends[question.unit].begin(question.message, now, 0.0)
        return _framed(question.unit, replies, now)[0][1]


def _response_key(unit: ControlUnit) -> int:
    return key_of(unit.response_id, unit.extended)


def _framed(unit: ControlUnit, replies: Replies, now: float) -> list[tuple[float, Frame]]:
    def padded(data: bytes) -> bytes:
        return data if unit.padding is None else data.ljust(8, bytes((unit.padding,)))

    return [(delay_s, Frame(unit.request_id, padded(data), unit.extended, now + delay_s)) for delay_s, data in replies]
