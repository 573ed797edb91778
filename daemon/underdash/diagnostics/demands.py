"""What is wanted becomes requests that are wanted: the preferred one for each signal, and what that one needs.

A request of service 01 needs the support masks that tell whether the unit has it, and the parameters that scale it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from math import inf
from typing import Any

from ..bus.legislated import speaks_to_all
from ..signals.wants import Want
from .batches import Request
from .cap import Cap
from .limits import Limit
from .options import Options
from .polls import CompiledPoll, Lane
from .speech import SERVICE_01
from .standing import Told
from .support import Support
from .turns import Queue, Turn


class Demands:
    """The requests of a scheduler, which of them are wanted, and how each stands.

    Args:
        polls: everything that can be asked.
        options: weights, caps and times.
        helpers: support masks and full scales, asked when something that is wanted needs them.
    """

    def __init__(
        self, polls: Sequence[CompiledPoll], options: Options | None = None, helpers: Sequence[CompiledPoll] = ()
    ) -> None:
        self.options = options or Options()
        self._wants: dict[str, Want] = {}
        self._turns: dict[CompiledPoll, Turn] = {}
        self._queues: dict[Lane, Queue] = {}
        self._by_signal: dict[str, list[Turn]] = {}
        self._masks: dict[tuple[Lane, int], Turn] = {}
        self._support: dict[Lane, Support] = {}
        self._limits: dict[tuple[str, str], Limit] = {}
        for poll in (*polls, *helpers):
            turn = Turn(poll, self._queues.setdefault(poll.lane, Queue(poll.unit)))
            turn.queue.turns.append(turn)
            self._turns[poll] = turn
            self._support.setdefault(poll.lane, Support())
            self._limits.setdefault((poll.unit.name, poll.speech.name), Limit(poll.most))
            if poll.mask:
                self._masks[poll.lane, poll.identifier] = turn
            for signal in poll.signals:
                self._by_signal.setdefault(signal, []).append(turn)
        for queue in self._queues.values():
            queue.sharing = _sharing(queue, self._queues.values())
        rate = (self.options.requests_per_s, self.options.burst, self.options.spacing_s)
        self._caps = {poll.bus: Cap(*rate) for poll in self._turns}

    @property
    def polls(self) -> tuple[CompiledPoll, ...]:
        """Everything that can be asked."""
        return tuple(self._turns)

    # --- what is wanted ---------------------------------------------------------------------------------------------

    def demand(self, wants: Mapping[str, Want], now: float) -> None:
        """Say what is wanted from now on; it replaces what was said before.

        A value that a page newly wants is asked for at once, unless it was asked for within the page's period.
        """
        self._wants = dict(wants)
        self._assign(now)

    def remember(self, poll: CompiledPoll, before: Demands, twin: CompiledPoll) -> None:
        """Take over when a request was asked and answered, which reads the same as another one's."""
        self._turns[poll].take_over(before._turns[twin])

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
        for support in self._support.values():
            support.reset()
        self._assign(now)

    def stop(self, protocols: Collection[str], why: str) -> None:
        """Ask for nothing in these protocols any more, on later journeys neither."""
        for turn in self._turns.values():
            if turn.poll.speech.maker and turn.poll.speech.name in protocols:
                turn.parked = turn.stopped = why

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
        for turn, want in list(joined.items()):
            self._join_mask(joined, turn, want)
        for turn in self._turns.values():
            turn.want(joined.get(turn), now, self.options)

    def _join(self, joined: dict[Turn, Want], turn: Turn, want: Want) -> None:
        _add(joined, turn, want)
        for other in self._scales(turn):
            if not other.poll.helper or self._support[other.poll.lane].has(other.poll.identifier):
                other.reference = True
                _add(joined, other, want)

    def _scales(self, turn: Turn) -> list[Turn]:
        """Return the requests of the same unit that a request's scale depends on."""
        return [
            other
            for signal in turn.poll.references
            for other in self._by_signal.get(signal, ())
            if other.parked is None and other is not turn and other.poll.lane == turn.poll.lane
        ]

    def _join_mask(self, joined: dict[Turn, Want], turn: Turn, want: Want) -> None:
        """Want the support mask that tells whether the unit has what is wanted, and what that is scaled by."""
        if turn.poll.speech is not SERVICE_01 or turn.poll.mask:
            return
        for needed in (turn, *(one for one in self._scales(turn) if one.poll.helper)):
            lane = needed.poll.lane
            missing = self._support[lane].missing(needed.poll.identifier)
            mask = None if missing is None else self._masks.get((lane, missing))
            if mask is not None and mask.parked is None:
                mask.reference = True
                _add(joined, mask, want)

    def limit(self, request: Request) -> Limit:
        """Return what is known about how many identifiers its unit takes at a time."""
        return self._limits[request.unit.name, request.speech.name]

    def learned(self) -> dict[str, dict[str, Any]]:
        """Return what units have shown about requests for several identifiers, as plain data, by unit and protocol."""
        found = {" ".join(key): limit.learned() for key, limit in self._limits.items()}
        return {key: data for key, data in found.items() if data}

    def restore(self, data: Mapping[str, Any]) -> None:
        """Take over what `learned` returned on an earlier journey; what fits no unit is left out."""
        for key, limit in self._limits.items():
            known = data.get(" ".join(key))
            if isinstance(known, Mapping):
                limit.restore(known)

    # --- what there is to tell --------------------------------------------------------------------------------------

    def open_on(self, lane: Lane) -> Request | None:
        """Return the request a control unit owes an answer to."""
        queue = self._queues.get(lane)
        return None if queue is None else queue.open

    def outstanding(self, poll: CompiledPoll, now: float) -> Request | None:
        """Return a request that one more must not overlap: its unit's own, or one to all where either is such a one.

        Others may still answer a request to all that one unit has answered, for as long as any may take.
        """
        for lane, queue in self._queues.items():
            if queue.unit.bus != poll.bus:
                continue
            to_all = speaks_to_all(queue.unit)
            if queue.open is not None and (lane == poll.lane or to_all or speaks_to_all(poll.unit)):
                return queue.open
            if to_all and now < max(queue.sent_at + queue.unit.answer_within_s, queue.speaks_until):
                return queue.last_of_all.last
        return None

    def open_to(self, lane: Lane, now: float) -> Request | None:
        """Return the request a control unit may be answering: its own, or the last one to all, if it is that recent."""
        queue = self._queues[lane]
        return queue.open or queue.asked_of_all(now)

    def expired(self, poll: CompiledPoll) -> bool:
        """Say whether the last request for it ran out of time."""
        return self._turns[poll].misses > 0

    def fell_silent(self, request: Request) -> bool:
        """Say whether the miss just counted is the one from which on the unit, or this request, counts as silent."""
        turn = self._turns[request.polls[0]]
        return self.options.silent_after in (turn.misses, turn.queue.misses)

    def wanted(self, poll: CompiledPoll) -> bool:
        """Say whether anybody wants it now."""
        return self._turns[poll].wanted is not None

    def parked(self, poll: CompiledPoll) -> bool:
        """Say whether it is not asked again this journey."""
        return self._turns[poll].parked is not None

    def told(self, poll: CompiledPoll, now: float) -> Told:
        """Return how a request stands: when it was answered, or why there is no value."""
        turn = self._turns[poll]
        told = turn.told(self._due(turn.queue), now, self.options)
        return replace(told, text=f"{poll.name}: {told.text}")

    def answered_s(self, poll: CompiledPoll, now: float) -> float | None:
        """Return the seconds since its last answer, None if there was none this journey."""
        at = self._turns[poll].answered_at
        return None if at == -inf else now - at

    def _due(self, queue: Queue) -> float:
        if queue.open is not None:
            return queue.deadline
        first = min((turn.due_at() for turn in queue.turns), default=inf)
        if first == inf:
            return inf
        return max(first, queue.free_at, queue.all_free_at, self._caps[queue.unit.bus].free_at())


def _add(joined: dict[Turn, Want], turn: Turn, want: Want) -> None:
    known = joined.get(turn)
    joined[turn] = want if known is None else known.joined(want)


def _sharing(queue: Queue, queues: Iterable[Queue]) -> tuple[Queue, ...]:
    """Return the control units that are asked by the same request to all, none if it is not asked so, or alone."""
    unit = queue.unit
    together = [one for one in queues if (one.unit.bus, one.unit.request_id) == (unit.bus, unit.request_id)]
    return tuple(together) if speaks_to_all(unit) and len(together) > 1 else ()
