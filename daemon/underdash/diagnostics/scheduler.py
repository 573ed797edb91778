"""Who is asked what next. Pure: times are handed in, requests are handed out, nothing is sent here.

Every wish makes its request more urgent as it ages: age divided by the wanted period, times the weight of the kind of
wish. The most urgent goes first, so nothing starves. One request is open a control unit; several units overlap.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from math import inf

from ..bus.refusals import PASSING, Reason, Refusal
from .batches import Batches, Request
from .demands import Demands
from .limits import Limit
from .negative import Meaning, Remedy, meaning
from .options import Options
from .polls import CompiledPoll, Lane
from .speech import SERVICE_01
from .standing import How, Told, endless, flow_held, held, says, unreadable
from .turns import Queue, Turn

_NEVER = frozenset(
    {
        Reason.NO_TEMPLATE,
        Reason.SERVICE,
        Reason.MAKER_PERMISSION,
        Reason.MAKER_EVIDENCE,
        Reason.LOOKS_LIKE,
        Reason.ID_IN_USE,
    }
)
"""Refusals that rest on the request itself and not on the moment."""

LEFT_OUT = "the unit left it out of an answer to several"


class Scheduler(Demands):
    """Hands out requests and takes in what became of them.

    Args:
        polls: everything that can be asked.
        options: weights, caps and times.
        helpers: support masks and full scales, asked when something that is wanted needs them.
    """

    def __init__(
        self, polls: Sequence[CompiledPoll], options: Options | None = None, helpers: Sequence[CompiledPoll] = ()
    ) -> None:
        super().__init__(polls, options, helpers)
        self._batches = Batches()

    def take_over(
        self, before: Scheduler, twins: Mapping[CompiledPoll, CompiledPoll], cut: Collection[Lane] = ()
    ) -> None:
        """Go on where another one is: no bus is asked more, and no unit before its time to answer is over.

        Args:
            before: the other one.
            twins: its requests that are declared still, and what they are now.
            cut: who was in the middle of getting a request, the rest of which it will not get.
        """
        self._caps.update((bus, cap) for bus, cap in before._caps.items() if bus in self._caps)
        for lane in self._queues.keys() & before._queues.keys():
            old, self._support[lane] = before._queues[lane], before._support[lane]
            self._park_lacking(lane)
            polls = [] if old.open is None or lane in cut else [twins.get(poll) for poll in old.open.polls]
            there = [poll for poll in polls if poll is not None]
            whole = bool(there) and len(there) == len(polls)
            request = None if not whole else there[0] if len(there) == 1 else self._batches.of(there)
            turns = [self._turns[poll] for poll in there] if whole else []
            for turn in turns:
                turn.asked_at = old.sent_at
            self._queues[lane].take_over(old, request, turns, self.options)

    # --- what goes out ----------------------------------------------------------------------------------------------

    def next(self, now: float) -> list[Request]:
        """Return what should be sent now, at most one a bus, so at most one a control unit.

        Say `sent` or `refused` of each before the next call. Nothing changes by asking, but that requests whose time
        is over count as missed.
        """
        self.tick(now)
        best: dict[str, tuple[float, Turn]] = {}
        free = {bus for bus, cap in self._caps.items() if now >= cap.free_at()}
        for queue in self._queues.values():
            turn = queue.best(now, self.options) if queue.unit.bus in free and now >= queue.all_free_at else None
            if turn is None:
                continue
            urgency = turn.urgency(now, self.options)
            if turn.poll.bus not in best or urgency > best[turn.poll.bus][0]:
                best[turn.poll.bus] = urgency, turn
        return [self._with_others(turn, now) for _, turn in best.values()]

    def _with_others(self, turn: Turn, now: float) -> Request:
        """Return the request for what is most urgent, and with it what the unit may be asked for at the same time."""
        poll, limit = turn.poll, self.limit(turn.poll)
        most = min(limit.room, poll.most, self.options.most_a_request)
        if most < 2 or not self._joins(turn, turn, limit):
            return poll
        others = [
            other
            for other in turn.queue.turns
            if other is not turn and self._joins(other, turn, limit) and other.nearly_due(now, self.options)
        ]
        others.sort(key=lambda other: other.urgency(now, self.options), reverse=True)
        chosen = {turn, *others[: most - 1]}
        if len(chosen) == 1:
            return poll
        return self._batches.of([one.poll for one in turn.queue.turns if one in chosen])

    def _joins(self, one: Turn, lead: Turn, limit: Limit) -> bool:
        """Say whether a request may go together with the one that leads."""
        poll = one.poll
        alike = poll.speech is lead.poll.speech and poll.unit.name == lead.poll.unit.name
        return alike and one.by_itself is None and not poll.mask and poll.identifier not in limit.alone

    def deadline(self, now: float) -> float | None:
        """Return when `next` has something to do again, None while nothing is wanted or open."""
        times = [time for queue in self._queues.values() if (time := self._due(queue)) < inf]
        return max(min(times), now) if times else None

    # --- what became of it ------------------------------------------------------------------------------------------

    def sent(self, request: Request, now: float) -> None:
        """Take note that a request went out."""
        turns = self._of(request)
        for turn in turns:
            turn.asked(now)
        self._queues[request.lane].opened(request, turns, now)
        self._caps[request.bus].spend(now)

    def _of(self, request: Request) -> list[Turn]:
        return [self._turns[poll] for poll in request.polls]

    def refused(self, request: Request, refusal: Refusal, now: float) -> None:
        """Take note that the guard held a request back; it stays as urgent as it was.

        What the guard never lets out is not offered again this journey, so that another source may have its turn.
        """
        turns = self._of(request)
        if refusal.reason in _NEVER:
            if len(turns) > 1:
                self.limit(request).refused(len(turns))
            else:
                self._park(turns[0], f"never sent: {refusal.sentence.rstrip('.')}", now)
            return
        queue = turns[0].queue
        for turn in turns:
            turn.held = held(refusal)
            if refusal.reason not in PASSING:
                turn.not_before = now + self.options.held_s
        if refusal.reason in PASSING:
            capped = refusal.reason in (Reason.RATE, Reason.LOAD)
            pause = self.options.held_capped_s if capped else self.options.held_shortly_s
            queue.free_at = max(queue.free_at, now + pause)

    def interrupted(self, request: Request, refusal: Refusal, now: float) -> None:
        """Take note that the guard shut in the middle of a request; nothing is wrong with it or with the unit."""
        self._queues[request.lane].close()
        for turn in self._of(request):
            turn.held = held(refusal)
            turn.not_before = now + self.options.held_s

    def answered(self, poll: CompiledPoll, now: float) -> bool:
        """Take note of an answer; an open request for several stays open until `completed`.

        Returns:
            Whether it was waited for; if not, it came late or for another tester.
        """
        turn = self._turns[poll]
        recovered = turn.misses >= self.options.silent_after
        waited_for = turn.queue.waits_for(turn)
        alone = waited_for and len(turn.queue.asked) == 1
        turn.answered(now)
        turn.queue.refusals = 0
        turn.queue.heard(now, close=alone)
        if alone:
            self._answered_alone(turn)
        if recovered:
            self._assign(now)
        return waited_for

    def _answered_alone(self, turn: Turn) -> None:
        limit = self.limit(turn.poll)
        if turn.by_itself == LEFT_OUT:
            limit.alone.add(turn.poll.identifier)
        turn.by_itself = None
        self._settle(turn.queue, limit, 1)

    def _settle(self, queue: Queue, limit: Limit, count: int) -> None:
        """So many were answered. If that shows that more were too many, no identifier was to blame for silence."""
        if limit.answered(count):
            for turn in queue.turns:
                turn.misses = 0

    def completed(self, request: Request, answered: Collection[CompiledPoll], now: float) -> None:
        """Take note that a request for several is answered; what the unit left out is asked by itself next."""
        queue = self._queues[request.lane]
        if queue.open is not request:
            return
        queue.heard(now, close=True)
        self._settle(queue, self.limit(request), len(request.polls))
        for turn in self._of(request):
            if turn.poll not in answered:
                self._alone_next(turn, Told(How.WAITING, LEFT_OUT), now)

    def mismatched(self, request: Request, why: str, now: float) -> None:
        """Take note that the answer to a request for several does not fit; each is asked by itself, which shows why."""
        self.limit(request).misfit(len(request.polls))
        self._queues[request.lane].heard(now, close=True)
        for turn in self._of(request):
            self._alone_next(turn, Told(How.WAITING, f"{turn.poll.unit.name} gave {why}"), now)

    def _alone_next(self, turn: Turn, why: Told, now: float) -> None:
        turn.by_itself, turn.note = why.text, why
        turn.make_urgent(now, self.options)

    def broken(self, request: Request, why: str, now: float) -> None:
        """Take note that the answer that is waited for broke off."""
        self._queues[request.lane].heard(now, close=True)
        if len(request.polls) > 1:
            self.limit(request).misfit(len(request.polls))
        for turn in self._of(request):
            note = Told(How.BROKEN, f"the answer of {turn.poll.unit.name} broke off: {why}")
            if turn.note is not None and turn.note.how is How.FLOW_HELD:
                note = turn.note  # which is why it broke off
            turn.put_off(note, True, now, self.options)

    def flow_held(self, lane: Lane, refusal: Refusal) -> None:
        """Take note that the guard held back what lets the answer that is waited for go on."""
        for turn in self._queues[lane].asked:
            turn.note = flow_held(turn.poll.unit.name, refusal)

    def declined(self, request: Request, why: str, now: float) -> None:
        """Take note that a request for several cannot go on: the unit does not take one in so many frames."""
        self._queues[request.lane].heard(now, close=True)
        self._fewer(request, f"{request.unit.name} did not take the request: {why}", now)

    def _fewer(self, request: Request, note: str, now: float) -> None:
        """Ask for the same again at once, fewer at a time."""
        self.limit(request).refused(len(request.polls))
        for turn in self._of(request):
            turn.misses = 0
            turn.note = Told(How.WAITING, note)
            turn.make_urgent(now, self.options)

    def progress(self, lane: Lane, now: float) -> None:
        """Take note that a message in several frames goes on."""
        self._queues[lane].extend(now, self.options.next_frame_s, self.options)

    def whole(self, lane: Lane, now: float) -> None:
        """Take note that the last frame of a request went out: the unit's time to answer begins."""
        queue = self._queues[lane]
        queue.extend(now, queue.unit.answer_within_s, self.options)

    def speaks(self, lane: Lane, now: float) -> None:
        """Take note that a long answer to us goes on, be it the last one that a request to all still gets."""
        self.progress(lane, now)
        self._queues[lane].goes_on(now, self.options)

    def spoke(self, lane: Lane) -> None:
        """Take note that a unit's message is over, whatever came of it."""
        self._queues[lane].speaks_until = -inf

    def negative(self, request: Request, code: int, now: float) -> Meaning:
        """Take note of a negative response to the request that is open."""
        turns, queue = self._of(request), self._queues[request.lane]
        what = meaning(code, request.speech.service)
        said = says(request.unit.name, what)
        if what.remedy is Remedy.WAIT:
            queue.extend(now, self.options.pending_s, self.options)
            for turn in turns:
                turn.note = turn.before if turn.before is not None and turn.before.how is How.ENDLESS else said
            return what
        queue.heard(now, close=queue.open is request)
        if what.remedy is Remedy.PARK and queue.may_answer_late(now, self.options):
            self._not_now(request, said, True, now)  # it does not say which request it refuses
            return what
        if what.remedy is Remedy.PARK and len(turns) > 1:
            self._fewer(request, said.text, now)
            return what
        for turn in turns:
            turn.misses = 0
        if what.remedy is Remedy.PARK:
            self._never(turns[0], said.text, now)
            return what
        busy = what.remedy is Remedy.LATER
        self._not_now(request, said, busy, now)
        queue.refused(now, self.options, busy)
        return what

    def _never(self, turn: Turn, why: str, now: float) -> None:
        self.limit(turn.poll).one_was_at_fault()
        if turn.poll.mask:
            self._support[turn.poll.lane].mute()
        self._park(turn, why, now)

    def _not_now(self, request: Request, said: Told, busy: bool, now: float) -> None:
        """Take note of a refusal for the moment; each is asked alone until it answers, so that one costs no other."""
        turns = self._of(request)
        self.limit(request).not_now(len(turns))
        for turn in turns:
            if busy or len(turns) == 1:
                turn.by_itself = said.text
                turn.put_off(said, busy, now, self.options)
            else:
                self._alone_next(turn, said, now)

    def mask(self, poll: CompiledPoll, data: bytes, now: float) -> list[CompiledPoll]:
        """Take a support mask; returns the requests that are not asked any more since the unit lacks them."""
        self._support[poll.lane].heard(poll.identifier, data)
        lacking = self._park_lacking(poll.lane)
        self._assign(now)
        return lacking

    def _park_lacking(self, lane: Lane) -> list[CompiledPoll]:
        support = self._support[lane]
        lacking = [
            turn
            for turn in self._queues[lane].turns
            if turn.poll.speech is SERVICE_01
            and turn.parked is None
            and turn.answered_at == -inf  # what it answers it has, whatever it says
            and support.has(turn.poll.identifier) is False
        ]
        for turn in lacking:
            turn.parked = f"the {turn.poll.unit.name} says it does not support {turn.poll.identifier:02X}"
        return [turn.poll for turn in lacking]

    def unreadable(self, poll: CompiledPoll, why: str, now: float) -> None:
        """Take note that the answer cannot be read: the request is not asked again this journey if it was ours."""
        turn = self._turns[poll]
        if turn.queue.waits_for(turn):
            turn.queue.heard(now, close=True)
            self._park(turn, f"{poll.unit.name} gives {why}", now)
        else:
            turn.note = Told(How.WAITING, f"{poll.unit.name} gave {why}")

    def unclear(self, request: Request, why: str) -> None:
        """Take note that something came that is no whole answer; a later frame may still be it."""
        for turn in self._of(request):
            turn.note = unreadable(request.unit.name, why)

    def mistaken(self, request: Request, why: str) -> None:
        """Take note that a plug-in's protocol failed at what may be the answer; a later frame may still be it."""
        for turn in self._of(request):
            turn.note = Told(How.MISTAKEN, why)

    def short(self, poll: CompiledPoll, found: int) -> None:
        """Take note that the last answer had so few bytes that fields are missing."""
        text = f"its answer has {found} bytes, its fields need {poll.longest}"
        self._turns[poll].note = Told(How.SHORT, text)

    def tick(self, now: float) -> list[Request]:
        """Close requests whose time is over.

        Returns:
            Those that were not answered in time.
        """
        missed: list[Request] = []
        again = False
        for queue in self._queues.values():
            expired = queue.expire(now, self.options)
            if expired is None:
                continue
            request, turns = expired
            missed.append(request)
            for turn in turns:
                if turn.note is not None and turn.note.how in (How.PENDING, How.ENDLESS):
                    turn.note = endless(request.unit.name, now - turn.asked_at)
            self.limit(request).unanswered(len(turns))
            again |= any(turn.misses == self.options.silent_after for turn in turns)
            if len(turns) == 1 and turns[0].poll.mask and turns[0].misses > 1:
                self._support[request.lane].mute()
                again = True
        if again:
            self._assign(now)
        return missed

    def _park(self, turn: Turn, why: str, now: float) -> None:
        turn.parked = why
        self._assign(now)
