"""Asking control units: the scheduler decides, answers are matched and read, and every poll can say how it is.

An answer is matched by what it says: its id, the unit's address byte, the service and the echoed identifier. So what
another tester asked for is read as well, and an answer that comes too late is never taken for one to a later request.
Nothing is sent here: `due` hands out requests, and the caller says what became of each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from ..bus.frames import Handler
from ..bus.refusals import Refusal
from ..contract.requests import Answer, ControlUnit
from ..signals.wants import Want
from .isotp import Dropped
from .negative import Remedy
from .options import Options
from .polls import CompiledPoll, Lane
from .scheduler import Scheduler
from .speech import Speech


@dataclass(slots=True)
class Counts:
    """What was asked and heard since the start.

    Attributes:
        sent: requests that went out.
        answered: answers that were waited for.
        overheard: answers that another tester asked for.
        late: answers that came after their time was over.
        missed: requests nobody answered in time.
        negative: negative responses to us.
        pending: of these, "still working".
        held: times the guard held a request back.
        short: answers with fewer bytes than their fields need.
        dropped: frames of ours that give no value, such as parts of answers in several frames.
        unrelated: frames on ids of answers that belong to no declared request.
    """

    sent: int = 0
    answered: int = 0
    overheard: int = 0
    late: int = 0
    missed: int = 0
    negative: int = 0
    pending: int = 0
    held: int = 0
    short: int = 0
    dropped: int = 0
    unrelated: int = 0


@dataclass(frozen=True, slots=True)
class PollStatus:
    """How a poll is: `sentence` says when it was answered, or why there is no value."""

    name: str
    signals: tuple[str, ...]
    wanted: bool
    parked: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class _Ear:
    """A unit and a protocol that its answers may be in."""

    unit: ControlUnit
    speech: Speech
    polls: dict[int, CompiledPoll]
    lane: Lane


class Asking:
    """All polls of the running configuration.

    Args:
        polls: compiled requests.
        options: weights, caps and times.
        told: called with (poll, sentence) once on what a log should keep: a request parked, a unit fallen silent.
    """

    def __init__(
        self,
        polls: Iterable[CompiledPoll],
        options: Options | None = None,
        told: Callable[[CompiledPoll, str], None] = lambda poll, sentence: None,
    ) -> None:
        self.polls = tuple(polls)
        self.scheduler = Scheduler(self.polls, options)
        self.counts = Counts()
        self.dropped: dict[str, int] = {}
        self._told = told
        self._ears: dict[tuple[str, int], list[_Ear]] = {}
        for poll in self.polls:
            self._listen_for(poll)

    def _listen_for(self, poll: CompiledPoll) -> None:
        ears = self._ears.setdefault((poll.bus, poll.response_key), [])
        for ear in ears:
            if ear.lane == poll.lane and ear.speech is poll.speech:
                ear.polls.setdefault(poll.identifier, poll)
                return
        ears.append(_Ear(poll.unit, poll.speech, {poll.identifier: poll}, poll.lane))

    # --- asking -----------------------------------------------------------------------------------------------------

    def demand(self, wants: Mapping[str, Want], now: float) -> None:
        """Say what is wanted from now on; see `Scheduler.demand`."""
        self.scheduler.demand(wants, now)

    def due(self, now: float) -> list[CompiledPoll]:
        """Return what should be sent now; say `sent` or `refused` of each."""
        for poll in self.scheduler.tick(now):
            self.counts.missed += 1
            if self.scheduler.fell_silent(poll):
                self._told(poll, self.scheduler.told(poll, now))
        return self.scheduler.next(now)

    def sent(self, poll: CompiledPoll, now: float) -> None:
        """Take note that a request went out."""
        self.counts.sent += 1
        self.scheduler.sent(poll, now)

    def refused(self, poll: CompiledPoll, refusal: Refusal, now: float) -> None:
        """Take note that the guard held a request back."""
        self.counts.held += 1
        self.scheduler.refused(poll, refusal, now)
        if self.scheduler.parked(poll):
            self._told(poll, self.scheduler.told(poll, now))

    def deadline(self, now: float) -> float | None:
        """Return when `due` has something to do again, None while there is nothing."""
        return self.scheduler.deadline(now)

    def new_journey(self, now: float) -> None:
        """Forget refusals, silence and what was asked once: the car may have changed while it was off."""
        for poll in self.polls:
            if poll.once:
                for slot in poll.slots.values():
                    slot.clear()
        self.scheduler.new_journey(now)

    # --- hearing ----------------------------------------------------------------------------------------------------

    def handlers(self) -> list[tuple[str, int, Handler]]:
        """Return (bus, key, handler) of everything that has to be heard."""
        return [(bus, key, self._handler(bus, key)) for bus, key in self._ears]

    def _handler(self, bus: str, key: int) -> Handler:
        return lambda data, at: self.handle(bus, key, data, at)

    def handle(self, bus: str, key: int, data: bytes, at: float) -> None:
        """Read a frame on the id of an answer.

        Args:
            bus: role of its bus.
            key: dispatch key of its id.
            data: its data, padding included.
            at: monotonic seconds.
        """
        dropped: tuple[_Ear, Dropped] | None = None
        for ear in self._ears.get((bus, key), ()):
            heard = ear.speech.decode(ear.unit, data)
            if isinstance(heard, Dropped):
                dropped = dropped or (ear, heard)
            elif self._take_all(ear, heard, at):
                return
        if dropped is None:
            self.counts.unrelated += 1
        else:
            self._drop(*dropped, at)

    def _take_all(self, ear: _Ear, answers: tuple[Answer, ...], at: float) -> bool:
        taken = [self._take(ear, answer, at) for answer in answers]
        return any(taken)

    def _take(self, ear: _Ear, answer: Answer, at: float) -> bool:
        """Use an answer; False if it belongs to no declared request."""
        waiting = self._waiting(ear)
        if answer.refused is not None:
            if waiting is not None:
                self._negative(waiting, answer.refused, at)
            return waiting is not None
        poll = waiting if answer.identifier is None else ear.polls.get(answer.identifier)
        if poll is None:
            return False
        self._read(poll, answer.data, at)
        return True

    def _waiting(self, ear: _Ear) -> CompiledPoll | None:
        """Return the open request that this ear's protocol is to answer."""
        poll = self.scheduler.open_on(ear.lane)
        return poll if poll is not None and poll.speech is ear.speech else None

    def _read(self, poll: CompiledPoll, data: bytes, at: float) -> None:
        expired = self.scheduler.expired(poll)
        if self.scheduler.answered(poll, at):
            self.counts.answered += 1
        elif expired:
            self.counts.late += 1
        else:
            self.counts.overheard += 1
        poll.read(data, at)
        if len(data) < poll.longest:
            self.counts.short += 1
            self.scheduler.remark(poll, f"its answer has {len(data)} bytes, its fields need {poll.longest}")

    def _negative(self, poll: CompiledPoll, code: int, at: float) -> None:
        self.counts.negative += 1
        said = self.scheduler.negative(poll, code, at)
        self.counts.pending += said.remedy is Remedy.WAIT
        if self.scheduler.parked(poll):
            self._told(poll, self.scheduler.told(poll, at))

    def _drop(self, ear: _Ear, dropped: Dropped, at: float) -> None:
        self.counts.dropped += 1
        self.dropped[dropped.reason] = self.dropped.get(dropped.reason, 0) + 1
        poll = None if dropped.identifier is None else ear.polls.get(dropped.identifier)
        if poll is None or dropped.reason != "several frames":
            return
        self.scheduler.unreadable(poll, dropped.why, at)
        if self.scheduler.parked(poll):
            self._told(poll, self.scheduler.told(poll, at))

    # --- telling ----------------------------------------------------------------------------------------------------

    def status(self, now: float) -> list[PollStatus]:
        """Return how every poll is."""
        return [self._status(poll, now) for poll in self.polls]

    def why(self, signal: str, now: float) -> list[str]:
        """Return a sentence of each poll that could provide a signal, the preferred one first."""
        return [self.scheduler.told(poll, now) for poll in self.polls if signal in poll.signals]

    def _status(self, poll: CompiledPoll, now: float) -> PollStatus:
        wanted, parked = self.scheduler.wanted(poll), self.scheduler.parked(poll)
        return PollStatus(poll.name, poll.signals, wanted, parked, self.scheduler.told(poll, now))
