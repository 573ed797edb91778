"""Hearing control units: answers are matched by what they say and read, and what is not used is counted and named.

An answer is matched by its id, the unit's address byte, the service and the echoed identifier. So what another tester
asked for is read as well, and an answer that comes too late is never taken for one to a later request.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from ..bus.frames import Frame, Handler
from ..bus.legislated import own_id
from ..contract.requests import Answer
from .batches import Request
from .conversation import Conversation, Said
from .ears import Counts, Ear, Line, Taken, Wish
from .identified import begins
from .isotp import Broken, Dropped, Fault, padded
from .negative import Remedy
from .polls import CompiledPoll, Lane
from .scheduler import Scheduler
from .segmentation import State
from .speech import MISTAKEN

UNREADABLE = frozenset({Fault.LENGTH, Fault.UNEXPECTED})
"""Frames that are no answer, and no end of one to another tester either."""


class Answers:
    """What control units say.

    Args:
        scheduler: knows what is open, and is told what came of it.
        polls: whose answers are read.
        told: called with (request, sentence) once on what a log should keep: a request parked, a unit fallen silent.

    Attributes:
        counts, dropped: what came of frames, the latter by reason.
        reply: called with flow control that has to go out at once; whoever sends sets it.
    """

    def __init__(
        self, scheduler: Scheduler, polls: Iterable[CompiledPoll], told: Callable[[Request, str], None]
    ) -> None:
        self.scheduler = scheduler
        self.counts = Counts()
        self.dropped: dict[str, int] = {}
        self.reply: Callable[[Wish, float], None] = lambda wish, now: None
        self._told = told
        self._lines: dict[tuple[str, int], list[Line]] = {}
        self._by_lane: dict[Lane, Line] = {}
        for poll in polls:
            self._listen_for(poll)

    def _listen_for(self, poll: CompiledPoll) -> None:
        line = self._by_lane.get(poll.lane)
        if line is None:
            line = self._by_lane[poll.lane] = Line(poll.lane, poll.unit, Conversation(poll.unit))
            self._lines.setdefault((poll.bus, poll.response_key), []).append(line)
        ears = line.spoken if poll.speech.over_isotp else line.framed
        ear = next((ear for ear in ears if ear.speech is poll.speech), None)
        if ear is None:
            ear = Ear(poll.unit, poll.speech, {}, poll.lane, dict(poll.speech.sizes))
            ears.append(ear)
        ear.polls.setdefault(poll.identifier, poll)
        if poll.speech.most > 1:
            ear.sizes.setdefault(poll.identifier, poll.longest)

    def handlers(self) -> list[tuple[str, int, Handler]]:
        """Return (bus, key, handler) of everything that has to be heard."""
        return [(bus, key, self._handler(bus, key)) for bus, key in self._lines]

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
        dropped: tuple[Ear, Dropped] | None = None
        for line in self._lines.get((bus, key), ()):
            ways = [self._hear_frame, self._hear_part] if line.framed else [self._hear_part]
            open_ = self.scheduler.open_on(line.lane)
            if open_ is not None and open_.speech.over_isotp:
                ways.reverse()
            for way in ways:
                heard = way(line, data, at)
                if heard is True:
                    return
                dropped = dropped or heard or None
        if dropped is None:
            self.counts.unrelated += 1
        else:
            self._drop(*dropped, at)

    def _hear_frame(self, line: Line, data: bytes, at: float) -> Taken:
        """Read a frame as a maker's one-frame formats do."""
        dropped: Taken = False
        for ear in line.framed:
            heard = ear.speech.decode(ear.unit, data, ear.sizes, ())
            if isinstance(heard, Dropped):
                dropped = dropped or (ear, heard)
            elif self._take_all(ear, heard, at):
                return True
        return dropped

    def _hear_part(self, line: Line, data: bytes, at: float) -> Taken:
        """Read a frame as ISO-TP does: a message, or a part of one."""
        if not line.spoken:
            return False
        said = line.conversation.receive(data, at, lambda start: self._is_ours(line, start, at))
        if not said.known:
            return False
        if said.flow:
            return self._flow(line, data, at)
        self._broken(line, said, at)
        if said.going_on:
            self.scheduler.speaks(line.lane, at)
        elif said.message is not None or said.broken is not None:
            self.scheduler.spoke(line.lane)
        if said.reply is not None:
            self._reply(line, said.reply, at)
        return said.message is None or self._hear_message(line, said.message, at)

    def _is_ours(self, line: Line, start: bytes, at: float) -> bool:
        """Say whether a message that begins like this answers the open request, its own or one to all units."""
        request = self.scheduler.open_to(line.lane, at)
        if request is None or not request.speech.over_isotp:
            return False
        service, width = request.speech.service, request.speech.identifier_bytes
        known = {number for ear in line.spoken if ear.speech is request.speech for number in ear.polls}
        asked = [poll.identifier for poll in request.polls if poll.identifier in known]
        return any(begins(start, service, width, identifier) for identifier in asked)

    def _hear_message(self, line: Line, message: bytes, at: float) -> Taken:
        for ear in line.spoken:
            request = self._waiting(ear)
            asked = () if request is None else tuple(poll.identifier for poll in request.polls)
            heard = ear.speech.decode(ear.unit, message, ear.sizes, asked)
            if isinstance(heard, Dropped):
                if request is not None:
                    self.scheduler.mismatched(request, heard.why, at)
                return ear, heard
            if self._take_all(ear, heard, at):
                return True
        return False

    def _flow(self, line: Line, data: bytes, at: float) -> bool:
        """Take flow control: the unit's word on our request in several frames, or on another tester's."""
        if line.sending is not None and line.sending.state is State.WAITING:
            broken = line.sending.receive(data, at)
            if broken is not None:
                self._not_taken(line, broken, at)
            else:
                self.scheduler.progress(line.lane, at)
        return True

    def _not_taken(self, line: Line, broken: Broken, at: float) -> None:
        """A request in several frames cannot go on; one that is met with silence runs out of time like any other."""
        line.sending = line.part = None
        self._count(broken.fault.value)
        request = self.scheduler.open_on(line.lane)
        if request is not None and broken.fault is not Fault.NO_FLOW_CONTROL:
            self.scheduler.declined(request, broken.why, at)

    def _reply(self, line: Line, data: bytes, at: float) -> None:
        unit = line.unit
        can_id = own_id(unit)
        if can_id is None:
            return
        frame = Frame(can_id, padded(data, unit.padding), unit.extended)
        until = at + self.scheduler.options.next_frame_s
        self.reply(Wish(unit.bus, frame, unit.name, until), at)

    def _broken(self, line: Line, said: Said, at: float) -> None:
        """Count a message that ended early; if it was ours, it is asked for again a little later."""
        if said.broken is None:
            return
        self._count(said.broken.fault.value)
        request = self.scheduler.open_on(line.lane)
        if request is not None and said.lost:
            self.scheduler.broken(request, said.broken.why, at)
        elif request is not None and said.broken.fault in UNREADABLE:
            self.scheduler.unclear(request, said.broken.why)

    def _count(self, reason: str) -> None:
        self.counts.dropped += 1
        self.dropped[reason] = self.dropped.get(reason, 0) + 1

    def _take_all(self, ear: Ear, answers: tuple[Answer, ...], at: float) -> bool:
        request = self._waiting(ear)
        taken = [poll for answer in answers if (poll := self._take(ear, answer, at)) is not None]
        several = request is not None and len(request.polls) > 1 and all(one.refused is None for one in answers)
        if request is not None and several and any(poll in request.polls for poll in taken):
            self.scheduler.completed(request, taken, at)
        return bool(taken)

    def _take(self, ear: Ear, answer: Answer, at: float) -> CompiledPoll | None:
        """Use an answer; None if it belongs to no declared request."""
        request = self._waiting(ear)
        if answer.refused is not None:
            if request is None:
                return None
            self._negative(request, answer.refused, at)
            return request.polls[0]
        alone = request.polls[0] if request is not None and len(request.polls) == 1 else None
        poll = alone if answer.identifier is None else ear.polls.get(answer.identifier)
        if poll is not None:
            if poll is alone and ear.speech.most > 1 and poll.identifier not in ear.speech.sizes:
                self._learn_size(ear, poll, len(answer.data))
            self._read(poll, answer.data, at)
        return poll

    def _learn_size(self, ear: Ear, poll: CompiledPoll, size: int) -> None:
        """An answer to one identifier alone shows how long its data are, which answers to several do not."""
        ear.sizes[poll.identifier] = self.scheduler.limit(poll).sizes[poll.identifier] = size

    def _waiting(self, ear: Ear) -> Request | None:
        """Return the open request that this ear's protocol is to answer."""
        request = self.scheduler.open_on(ear.lane)
        return request if request is not None and request.speech is ear.speech else None

    def _read(self, poll: CompiledPoll, data: bytes, at: float) -> None:
        expired = self.scheduler.expired(poll)
        if self.scheduler.answered(poll, at):
            self.counts.answered += 1
        elif expired:
            self.counts.late += 1
        else:
            self.counts.overheard += 1
        poll.read(data, at)
        if poll.mask:
            for lacking in self.scheduler.mask(poll, data, at):
                self._tell(lacking, at)
        if len(data) < poll.longest:
            self.counts.short += 1
            self.scheduler.short(poll, len(data))

    def _negative(self, request: Request, code: int, at: float) -> None:
        self.counts.negative += 1
        said = self.scheduler.negative(request, code, at)
        self.counts.pending += said.remedy is Remedy.WAIT
        if self.scheduler.parked(request.polls[0]):
            self._tell(request.polls[0], at)

    def _drop(self, ear: Ear, dropped: Dropped, at: float) -> None:
        self._count(dropped.reason)
        request = self._waiting(ear)
        if request is not None and dropped.reason == MISTAKEN:
            self.scheduler.mistaken(request, dropped.why)
        elif request is not None and dropped.reason == Fault.LENGTH:
            self.scheduler.unclear(request, dropped.why)
        poll = None if dropped.identifier is None else ear.polls.get(dropped.identifier)
        if poll is None or dropped.reason != "several frames":
            return
        self.scheduler.unreadable(poll, dropped.why, at)
        if self.scheduler.parked(poll):
            self._tell(poll, at)

    def _tell(self, poll: CompiledPoll, now: float) -> None:
        self._told(poll, self.scheduler.told(poll, now).text)
