"""Who is asked what next. Pure: times are handed in, requests are handed out, nothing is sent here.

Every wish makes its request more urgent as it ages: age divided by the wanted period, times the weight of the kind of
wish. The most urgent goes first, so nothing starves. One request is open a control unit; several units overlap.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import inf

from ..bus.refusals import PASSING, Reason, Refusal
from ..signals.wants import Want
from .cap import Cap
from .negative import Meaning, Remedy, meaning
from .options import Options
from .polls import CompiledPoll, Lane
from .turns import Queue, Turn, wait_text

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


class Scheduler:
    """Hands out requests and takes in what became of them.

    Args:
        polls: everything that can be asked.
        options: weights, caps and times.
    """

    def __init__(self, polls: Sequence[CompiledPoll], options: Options | None = None) -> None:
        self.options = options or Options()
        self._wants: dict[str, Want] = {}
        self._turns: dict[CompiledPoll, Turn] = {}
        self._queues: dict[Lane, Queue] = {}
        self._by_signal: dict[str, list[Turn]] = {}
        for poll in polls:
            turn = Turn(poll, self._queues.setdefault(poll.lane, Queue(poll.unit)))
            turn.queue.turns.append(turn)
            self._turns[poll] = turn
            for signal in poll.signals:
                self._by_signal.setdefault(signal, []).append(turn)
        rate = (self.options.requests_per_s, self.options.burst, self.options.spacing_s)
        self._caps = {poll.bus: Cap(*rate) for poll in polls}

    # --- what is wanted ---------------------------------------------------------------------------------------------

    def demand(self, wants: Mapping[str, Want], now: float) -> None:
        """Say what is wanted from now on; it replaces what was said before.

        A value that a page newly wants is asked for at once, unless it was asked for within the page's period.
        """
        self._wants = dict(wants)
        self._assign(now)

    def ask_now(self, signals: Iterable[str], now: float) -> None:
        """Ask for signals at their next possible turn, also those that are asked once only."""
        for signal in signals:
            for turn in self._by_signal.get(signal, ()):
                turn.done = False
                turn.not_before = min(turn.not_before, now)
                turn.make_urgent(now, self.options)

    def new_journey(self, now: float) -> None:
        """Forget refusals, silence and what is asked once a journey."""
        for queue in self._queues.values():
            queue.reset()
        for turn in self._turns.values():
            turn.reset()
        self._assign(now)

    def _assign(self, now: float) -> None:
        """Give each wish to the preferred request for its signal, and to the next ones while that one fails."""
        joined: dict[Turn, Want] = {}
        for signal, want in self._wants.items():
            for turn in self._by_signal.get(signal, ()):
                if turn.parked is not None:
                    continue
                self._join(joined, turn, want)
                if turn.misses < self.options.silent_after:
                    break
        for turn in self._turns.values():
            turn.want(joined.get(turn), now, self.options)

    def _join(self, joined: dict[Turn, Want], turn: Turn, want: Want) -> None:
        known = joined.get(turn)
        joined[turn] = want if known is None else known.joined(want)
        for signal in turn.poll.references:  # what its scale depends on
            for other in self._by_signal.get(signal, ()):
                if other.parked is None and other is not turn and other.poll.lane == turn.poll.lane:
                    other.reference = True
                    known = joined.get(other)
                    joined[other] = want if known is None else known.joined(want)

    # --- what goes out ----------------------------------------------------------------------------------------------

    def next(self, now: float) -> list[CompiledPoll]:
        """Return what should be sent now, at most one a bus, so at most one a control unit.

        Say `sent` or `refused` of each before the next call. Nothing changes by asking, but that requests whose time
        is over count as missed.
        """
        self.tick(now)
        best: dict[str, tuple[float, CompiledPoll]] = {}
        free = {bus for bus, cap in self._caps.items() if now >= cap.free_at()}
        for queue in self._queues.values():
            turn = queue.best(now, self.options) if queue.unit.bus in free else None
            if turn is None:
                continue
            urgency = turn.urgency(now, self.options)
            if turn.poll.bus not in best or urgency > best[turn.poll.bus][0]:
                best[turn.poll.bus] = urgency, turn.poll
        return [poll for _, poll in best.values()]

    def deadline(self, now: float) -> float | None:
        """Return when `next` has something to do again, None while nothing is wanted or open."""
        times = [time for queue in self._queues.values() if (time := self._due(queue)) < inf]
        return max(min(times), now) if times else None

    def _due(self, queue: Queue) -> float:
        if queue.open is not None:
            return queue.deadline
        first = min((turn.due_at() for turn in queue.turns), default=inf)
        if first == inf:
            return inf
        return max(first, queue.free_at, self._caps[queue.unit.bus].free_at())

    # --- what became of it ------------------------------------------------------------------------------------------

    def sent(self, poll: CompiledPoll, now: float) -> None:
        """Take note that a request went out."""
        turn = self._turns[poll]
        turn.asked(now)
        turn.queue.opened(turn, now)
        self._caps[poll.bus].spend(now)

    def refused(self, poll: CompiledPoll, refusal: Refusal, now: float) -> None:
        """Take note that the guard held a request back; it stays as urgent as it was.

        What the guard never lets out is not offered again this journey, so that another source may have its turn.
        """
        turn = self._turns[poll]
        if refusal.reason in _NEVER:
            self._park(turn, f"never sent: {refusal.sentence.rstrip('.')}", now)
            return
        turn.held = refusal.sentence
        if refusal.reason in PASSING:
            capped = refusal.reason in (Reason.RATE, Reason.LOAD)
            pause = self.options.held_capped_s if capped else self.options.held_shortly_s
            turn.queue.free_at = max(turn.queue.free_at, now + pause)
        else:
            turn.not_before = now + self.options.held_s

    def answered(self, poll: CompiledPoll, now: float) -> bool:
        """Take note of an answer.

        Returns:
            Whether it was the one that was waited for; if not, it came late or for another tester.
        """
        turn = self._turns[poll]
        recovered = turn.misses >= self.options.silent_after
        waited_for = turn.queue.open is turn
        turn.answered(now)
        turn.queue.heard(now, close=waited_for)
        if recovered:
            self._assign(now)
        return waited_for

    def negative(self, poll: CompiledPoll, code: int, now: float) -> Meaning:
        """Take note of a negative response to the request that is open."""
        turn = self._turns[poll]
        what = meaning(code)
        if what.remedy is Remedy.WAIT:
            turn.queue.extend(now, self.options)
            turn.note = f"{poll.unit.name} says {what}"
            return what
        turn.queue.heard(now, close=turn.queue.open is turn)
        turn.misses = 0
        if what.remedy is Remedy.PARK:
            self._park(turn, f"{poll.unit.name} says {what}", now)
            return what
        turn.put_off(f"{poll.unit.name} says {what}", what.remedy is Remedy.LATER, now, self.options)
        return what

    def unreadable(self, poll: CompiledPoll, why: str, now: float) -> None:
        """Take note that the answer cannot be read: the request is not asked again this journey if it was ours."""
        turn = self._turns[poll]
        if turn.queue.open is turn:
            turn.queue.heard(now, close=True)
            self._park(turn, f"{poll.unit.name} gives {why}", now)
        else:
            turn.note = f"{poll.unit.name} gave {why}"

    def remark(self, poll: CompiledPoll, note: str) -> None:
        """Keep what is odd about the last answer, for whoever asks why there is no value."""
        self._turns[poll].note = note

    def tick(self, now: float) -> list[CompiledPoll]:
        """Close requests whose time is over.

        Returns:
            Those that were not answered in time.
        """
        missed = [turn for queue in self._queues.values() if (turn := queue.expire(now, self.options)) is not None]
        if any(turn.misses == self.options.silent_after for turn in missed):
            self._assign(now)
        return [turn.poll for turn in missed]

    def _park(self, turn: Turn, why: str, now: float) -> None:
        turn.parked = why
        self._assign(now)

    # --- what there is to tell --------------------------------------------------------------------------------------

    def open_on(self, lane: Lane) -> CompiledPoll | None:
        """Return the request a control unit owes an answer to."""
        queue = self._queues.get(lane)
        return queue.open.poll if queue is not None and queue.open is not None else None

    def expired(self, poll: CompiledPoll) -> bool:
        """Say whether the last request for it ran out of time."""
        return self._turns[poll].misses > 0

    def fell_silent(self, poll: CompiledPoll) -> bool:
        """Say whether the miss just counted is the one from which on the unit, or this request, counts as silent."""
        turn = self._turns[poll]
        return self.options.silent_after in (turn.misses, turn.queue.misses)

    def wanted(self, poll: CompiledPoll) -> bool:
        """Say whether anybody wants it now."""
        return self._turns[poll].wanted is not None

    def parked(self, poll: CompiledPoll) -> bool:
        """Say whether it is not asked again this journey."""
        return self._turns[poll].parked is not None

    def told(self, poll: CompiledPoll, now: float) -> str:
        """Return a sentence about a request: when it was answered, or why there is no value."""
        turn = self._turns[poll]
        sentence = turn.told(now, self.options)
        if sentence is None:
            wait = wait_text(self._due(turn.queue), now)
            sentence = f"waits for its turn{wait}"
        return f"{poll.name}: {sentence}"
