"""What is wanted becomes requests that are wanted: the preferred one for each signal, and what that one needs.

A request of service 01 needs the support masks that tell whether the unit has it, and the parameters that scale it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from ..bus.legislated import speaks_to_all
from ..signals.wants import Want
from .batches import Request
from .cap import Cap
from .limits import Limit
from .options import Options
from .polls import CompiledPoll, Lane
from .speech import SERVICE_01
from .support import Support
from .turns import Queue, Turn


class Demands:
    """The requests of a scheduler, and which of them are wanted.

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


def _add(joined: dict[Turn, Want], turn: Turn, want: Want) -> None:
    known = joined.get(turn)
    joined[turn] = want if known is None else known.joined(want)


def _sharing(queue: Queue, queues: Iterable[Queue]) -> tuple[Queue, ...]:
    """Return the control units that are asked by the same request to all, none if it is not asked so, or alone."""
    unit = queue.unit
    together = [one for one in queues if (one.unit.bus, one.unit.request_id) == (unit.bus, unit.request_id)]
    return tuple(together) if speaks_to_all(unit) and len(together) > 1 else ()
