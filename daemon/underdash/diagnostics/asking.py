"""Asking control units: the scheduler decides, answers are matched and read, and every poll can say how it is.

Nothing is sent here: `due` hands out requests, and the caller says what became of each. What comes back is in
`answers.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Any

from ..bus.frames import Frame
from ..bus.refusals import Refusal
from ..signals.store import Slot
from ..signals.wants import Want
from .answers import Answers
from .batches import Batch, Request
from .ears import Counts, Wish
from .isotp import padded
from .options import Options
from .polls import CompiledPoll
from .scheduler import Scheduler
from .segmentation import Segmentation
from .standing import PollStatus

__all__ = ["Asking", "Counts", "PollStatus", "Wish"]


class Asking(Answers):
    """All polls of the running configuration.

    Args:
        polls: compiled requests.
        options: weights, caps and times.
        told: called with (request, sentence) once on what a log should keep: a request parked, a unit fallen silent.
        helpers: support masks and full scales; see `requests.Compiled`.
    """

    def __init__(
        self,
        polls: Iterable[CompiledPoll],
        options: Options | None = None,
        told: Callable[[Request, str], None] = lambda request, sentence: None,
        helpers: Iterable[CompiledPoll] = (),
    ) -> None:
        self.polls = tuple(polls)
        helping = tuple(helpers)
        super().__init__(Scheduler(self.polls, options, helping), (*self.polls, *helping), told)

    # --- asking -----------------------------------------------------------------------------------------------------

    def demand(self, wants: Mapping[str, Want], now: float) -> None:
        """Say what is wanted from now on; see `Scheduler.demand`."""
        self.scheduler.demand(wants, now)

    def due(self, now: float) -> list[Request]:
        """Return what should be sent now; say `sent` or `refused` of each."""
        for line in self._by_lane.values():
            said = line.conversation.tick(now)
            if said is not None:
                self._broken(line, said, now)
            if line.sending is not None and (broken := line.sending.tick(now)) is not None:
                self._not_taken(line, broken, now)
        for request in self.scheduler.tick(now):
            self.counts.missed += 1
            line = self._by_lane[request.lane]
            line.sending = line.part = None
            if self.scheduler.fell_silent(request):
                self._tell(request.polls[0], now)
        return self.scheduler.next(now)

    def sent(self, request: Request, now: float) -> None:
        """Take note that a request, or the first frame of one, went out."""
        self.counts.sent += 1
        self.scheduler.sent(request, now)
        line = self._by_lane[request.lane]
        line.conversation.asked()
        line.sending = line.part = None
        if isinstance(request, Batch) and len(request.frames) > 1:
            line.sending = Segmentation(request.message, request.unit.address, reply_prefix=request.unit.reply_prefix)
            line.sending.start(now)
            self.scheduler.progress(request.lane, now)

    def refused(self, request: Request, refusal: Refusal, now: float) -> None:
        """Take note that the guard held a request back."""
        self.counts.held += 1
        self.scheduler.refused(request, refusal, now)
        if self.scheduler.parked(request.polls[0]):
            self._tell(request.polls[0], now)

    def parts(self, now: float) -> list[tuple[str, Frame]]:
        """Return (bus, frame) of what has to follow the first frames of requests now; say `part_sent` of each."""
        found: list[tuple[str, Frame]] = []
        for line in self._by_lane.values():
            if self.scheduler.open_on(line.lane) is None:  # answered or refused before it was complete
                line.sending = line.part = None
            if line.part is None and line.sending is not None:
                for data in line.sending.due(now, 1):
                    unit = line.unit
                    line.part = Frame(unit.request_id, padded(data, unit.padding), unit.extended)
            if line.part is not None:
                found.append((line.unit.bus, line.part))
        return found

    def part_sent(self, frame: Frame, now: float) -> None:
        """Take note that a frame of `parts` went out."""
        for line in self._by_lane.values():
            if line.part is frame:
                line.part = None
                if line.sending is not None and line.sending.done:
                    self.scheduler.whole(line.lane, now)
                else:
                    self.scheduler.progress(line.lane, now)

    def part_refused(self, frame: Frame, refusal: Refusal, now: float) -> None:
        """Take note that the guard will not let a frame of `parts` out soon: its request is given up."""
        for line in self._by_lane.values():
            if line.part is frame:
                line.sending = line.part = None
                request = self.scheduler.open_on(line.lane)
                if request is not None:
                    self.counts.held += 1
                    self.scheduler.interrupted(request, refusal, now)

    def flow_held(self, wish: Wish, refusal: Refusal) -> None:
        """Take note that the guard held flow control back, without which an answer does not go on."""
        for line in self._by_lane.values():
            if (line.unit.bus, line.unit.name) == (wish.bus, wish.unit):
                self.scheduler.flow_held(line.lane, refusal)

    def take_over(self, before: Asking) -> list[Slot]:
        """Go on with what is under way, with what came of requests that are read in the same way, and with the counts.

        Returns:
            The slots that go on.
        """
        went_on: list[Slot] = []
        declared = {_mark(poll): poll for poll in self.scheduler.polls}
        twins = {poll: declared[_mark(poll)] for poll in before.scheduler.polls if _mark(poll) in declared}
        cut = [line.lane for line in before._by_lane.values() if line.sending is not None]
        self.counts, self.dropped = before.counts, before.dropped
        for lane in self._by_lane.keys() & before._by_lane.keys():
            line, known = self._by_lane[lane], before._by_lane[lane]
            if line.unit == known.unit:
                line.conversation = known.conversation
        for twin, poll in twins.items():
            if twin.reads_as(poll):
                self.scheduler.remember(poll, before.scheduler, twin)
                for name, slot in poll.slots.items():
                    slot.take_over(twin.slots[name])
                    went_on.append(slot)
        self.scheduler.take_over(before.scheduler, twins, cut)
        return went_on

    def learned(self) -> dict[str, dict[str, Any]]:
        """Return what units have shown about requests for several identifiers, as plain data to be kept."""
        return self.scheduler.learned()

    def restore(self, data: Mapping[str, Any]) -> None:
        """Take over what `learned` returned on an earlier journey; what makes no sense is left out."""
        self.scheduler.restore(data)
        for line in self._by_lane.values():
            for ear in line.spoken:
                ear.sizes.update(self.scheduler.limit(next(iter(ear.polls.values()))).sizes)

    def deadline(self, now: float) -> float | None:
        """Return when `due` or `parts` have something new to do, None while there is nothing."""
        times = [self.scheduler.deadline(now)]
        for line in self._by_lane.values():
            if line.sending is not None and line.part is None:
                times.append(line.sending.deadline)
        known = [time for time in times if time is not None]
        return min(known) if known else None

    def new_journey(self, now: float) -> None:
        """Forget refusals, silence and what was asked once: the car may have changed while it was off."""
        for poll in self.polls:
            if poll.once:
                for slot in poll.slots.values():
                    slot.clear()
        self.scheduler.new_journey(now)

    def stop(self, protocols: Collection[str], why: str) -> None:
        """Neither ask nor read in protocols any more, for good: the plug-in that brings them is suspended."""
        for line in self._by_lane.values():
            line.framed = [ear for ear in line.framed if ear.speech.name not in protocols]
        self.scheduler.stop(protocols, f"its protocol is not spoken any more, plug-in {why}")

    # --- telling ----------------------------------------------------------------------------------------------------

    def status(self, now: float) -> list[PollStatus]:
        """Return how every poll is."""
        return [self._status(poll, now) for poll in self.polls]

    def why(self, signal: str, now: float) -> list[str]:
        """Return a sentence of each poll that could provide a signal, the preferred one first."""
        return [self.scheduler.told(poll, now).text for poll in self.polls if signal in poll.signals]

    def _status(self, poll: CompiledPoll, now: float) -> PollStatus:
        of = self.scheduler
        told, answered_s = of.told(poll, now), of.answered_s(poll, now)
        return PollStatus(poll.name, poll.signals, of.wanted(poll), of.parked(poll), told, answered_s)


def _mark(poll: CompiledPoll) -> tuple[object, ...]:
    """Return what makes a request the same one, whatever its answer is taken for."""
    return poll.unit, poll.speech.name, poll.identifier, poll.payload
