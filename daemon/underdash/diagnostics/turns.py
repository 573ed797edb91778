"""What the scheduler remembers: of a request when it was asked and why it was not, of a control unit what is open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import inf

from ..bus.legislated import P2_S
from ..contract.requests import ControlUnit
from ..signals.wants import Want, WantKind
from .batches import Request
from .options import Options
from .polls import CompiledPoll
from .standing import How, Told


class Turn:
    """A request and its history."""

    __slots__ = (
        "answered_at", "asked_at", "before", "busy", "by_itself", "done", "held", "misses", "not_before", "note",
        "parked", "period_s", "poll", "queue", "reference", "stopped", "wanted",
    )  # fmt: skip

    def __init__(self, poll: CompiledPoll, queue: Queue) -> None:
        self.poll = poll
        self.queue = queue
        self.wanted: Want | None = None
        self.period_s = poll.period_s
        self.reference = False
        self.asked_at = -inf
        self.stopped: str | None = None
        """Why it is not asked on any journey."""
        self.reset()

    def reset(self) -> None:
        """Begin a new journey."""
        self.answered_at = -inf
        self.not_before = -inf
        self.misses = 0
        self.busy = 0
        self.by_itself: str | None = None
        """Why it is asked alone next time: an answer to several left it out or did not fit, or it was refused."""
        self.done = False
        self.parked = self.stopped
        self.held: Told | None = None
        self.note: Told | None = None
        """What is odd about the last time it was asked."""
        self.before: Told | None = None
        """The same of the time before, until this one is answered."""

    def take_over(self, before: Turn) -> None:
        """Go on with when the same request was asked and answered."""
        self.asked_at, self.answered_at = before.asked_at, before.answered_at
        self.done = before.done and self.poll.once

    # --- urgency ----------------------------------------------------------------------------------------------------

    def want(self, want: Want | None, now: float, options: Options) -> None:
        """Take over what is wished of it; what is new on a page becomes urgent."""
        before, self.wanted = self.wanted, want
        if want is None:
            return
        self.period_s = max(self.poll.period_s, want.period_s)
        new = before is None or (want.kind is WantKind.PAGE and before.kind is not WantKind.PAGE)
        if new and now >= self.asked_at + self.period_s:
            self.make_urgent(now, options)

    def make_urgent(self, now: float, options: Options) -> None:
        """Count it as so many periods old, no more and no less."""
        self.asked_at = now - options.now_periods * self.period_s

    def due_at(self) -> float:
        """Return from when on it may be asked, as far as it alone decides."""
        if self.wanted is None or self.parked is not None or self.done:
            return inf
        return max(self.asked_at + self.period_s, self.not_before)

    def nearly_due(self, now: float, options: Options) -> bool:
        """Say whether it may be asked together with one that is due."""
        if self.wanted is None or self.parked is not None or self.done or now < self.not_before:
            return False
        return now >= self.asked_at + self.period_s * (1.0 - options.together)

    def urgency(self, now: float, options: Options) -> float:
        """Return how urgent it is; a straight line in its age, so that everything comes first some time."""
        if self.wanted is None:
            return 0.0
        age = now - self.asked_at
        weight = options.weights[self.wanted.kind]
        late_alert = self.wanted.kind is WantKind.ALERT and age >= max(self.period_s, options.alert_at_least_s)
        if late_alert or self.reference:  # a reference goes before what is scaled by it
            weight *= options.overdue
        return weight * age / self.period_s

    # --- what happens to it -----------------------------------------------------------------------------------------

    def asked(self, now: float) -> None:
        """It went out."""
        self.asked_at = now
        self.before = self.note or self.before
        self.held = self.note = None

    def answered(self, now: float) -> None:
        """A value came, asked for by us or by somebody else: it need not be asked before it is old again."""
        self.answered_at = now
        self.asked_at = self.asked_at if self.queue.waits_for(self) else max(self.asked_at, now)
        self.not_before = -inf
        self.misses = self.busy = 0
        self.note = self.held = self.before = None
        self.done = self.poll.once

    def missed(self, now: float, options: Options, *, alone: bool = True) -> None:
        """No answer came in time. Once may be chance; from the second time on it is asked more and more rarely.

        An unanswered request for several says little about each, so it holds none of them up.
        """
        self.misses += 1
        if self.misses > 1 and alone:
            self.not_before = now + options.back_off(self.misses - 1)

    def put_off(self, why: Told, busy: bool, now: float, options: Options) -> None:
        """The unit refused for now."""
        self.note = why
        pause = options.busy_s * 2 ** min(self.busy, 3) if busy else options.slowly_s
        self.busy = self.busy + 1 if busy else 0
        self.not_before = now + pause

    # --- why there is no value --------------------------------------------------------------------------------------

    def told(self, due_at: float, now: float, options: Options) -> Told:
        """Say what is the matter; `due_at` is when its unit has a request to come."""
        return next(self._facts(due_at, now, options))

    def _facts(self, due_at: float, now: float, options: Options) -> Iterator[Told]:
        """Yield what there is to say, what explains most first."""
        if self.parked is not None:
            yield Told(How.PARKED, f"{self.parked}; it is not asked again this journey")
        if self.done:
            also = f"; {self.note.text}" if self.note else ""
            text = f"asked once a journey, answered {_ago(self.answered_at, now)}{also}"
            yield Told(self.note.how if self.note else How.ANSWERED, text)
        if self.wanted is None:
            heard = "" if self.answered_at == -inf else f"; last heard {_ago(self.answered_at, now)}"
            yield Told(How.UNWANTED, f"not asked, nobody wants it{heard}")
        if self.held is not None:
            yield self.held
        if self.queue.waits_for(self):
            yield self._open(now, options)
        if self.note is not None:
            again_at = max(self.not_before, self.queue.free_at)
            yield replace(self.note, text=self.note.text + wait_text(again_at, now))
        if silence := self._silence(now, options):
            yield Told(How.SILENT, silence)
        if self.answered_at != -inf:
            yield Told(How.ANSWERED, f"answered {_ago(self.answered_at, now)}")
        yield Told(How.WAITING, f"waits for its turn{wait_text(due_at, now)}")

    def _open(self, now: float, options: Options) -> Told:
        """Say what is known while an answer is awaited; what was so the last time most likely is so still."""
        asked = f"asked {_ago(self.asked_at, now)}, no answer yet"
        if self.note is not None:
            return replace(self.note, text=f"{asked}; {self.note.text}")
        if silence := self._silence(now, options):
            return Told(How.SILENT, f"{asked}; {silence}")
        if self.before is not None:
            return replace(self.before, text=f"{asked}; the last time: {self.before.text}")
        return Told(How.WAITING if self.answered_at == -inf else How.ANSWERED, asked)

    def _silence(self, now: float, options: Options) -> str:
        unit, queue = self.poll.unit.name, self.queue
        if queue.misses >= options.silent_after:
            return f"{unit} left {queue.misses} requests in a row unanswered{wait_text(queue.free_at, now)}"
        if self.misses:
            return f"{unit} left {self.misses} of these requests unanswered{wait_text(self.not_before, now)}"
        return ""


class Queue:
    """A control unit: what is open on it, and from when on it may be asked again."""

    __slots__ = (
        "asked", "deadline", "expired_at", "free_at", "last", "misses", "open", "refusals", "sent_at", "sharing",
        "speaks_until", "turns", "unit",
    )  # fmt: skip

    def __init__(self, unit: ControlUnit) -> None:
        self.unit = unit
        self.turns: list[Turn] = []
        self.open: Request | None = None
        self.asked: tuple[Turn, ...] = ()
        """The turns that the open request asks for."""
        self.sharing: tuple[Queue, ...] = ()
        """All that a request to this one goes to, if it is asked with others by one request to all."""
        self.last: Request | None = None
        self.sent_at = -inf
        self.deadline = inf
        self.expired_at = -inf
        """When it last left a request unanswered."""
        self.speaks_until = -inf
        """Until when the rest of a long answer may take that has begun."""
        self.reset()

    def reset(self) -> None:
        """Begin a new journey; what is open stays open."""
        self.free_at = self.sent_at + self.unit.gap_s
        self.misses = self.refusals = 0

    def take_over(self, before: Queue, request: Request | None, turns: Sequence[Turn], options: Options) -> None:
        """Go on where another one is.

        Args:
            before: the other one.
            request: what is open on it as it is declared now; None if it is not, or nothing is open. Then what was
                asked gets its time to be answered before anything else is asked.
            turns: of that request.
            options: times.
        """
        self.sent_at, self.speaks_until, self.expired_at = before.sent_at, before.speaks_until, before.expired_at
        self.free_at = self.sent_at + self.unit.gap_s
        if request is not None:
            self.open, self.asked, self.last, self.deadline = request, tuple(turns), request, before.deadline
        elif before.open is not None:
            late_s = 0.0 if before.open.speech.echoes else options.late_s
            self.free_at = max(self.free_at, before.deadline + late_s)

    def best(self, now: float, options: Options) -> Turn | None:
        """Return the most urgent request that may be asked now; the one declared first of equals."""
        if self.open is not None or now < self.free_at:
            return None
        due = [turn for turn in self.turns if now >= turn.due_at()]
        return max(due, key=lambda turn: turn.urgency(now, options), default=None)

    @property
    def all_free_at(self) -> float:
        """When the next request to all may go out: units answer one at a time, and not all of them at once."""
        return max((one.all_answered_at for one in self.sharing), default=-inf)

    @property
    def all_answered_at(self) -> float:
        """When its answer to a request to all is over: no other unit's may begin, and a long one has to end."""
        return inf if self.open is not None else max(self.sent_at + P2_S, self.speaks_until)

    @property
    def last_of_all(self) -> Queue:
        """The one of those asked together that was asked last."""
        return max(self.sharing, key=lambda one: one.sent_at, default=self)

    def goes_on(self, now: float, options: Options) -> None:
        """A long answer goes on; none does for ever."""
        until = now + options.next_frame_s
        self.speaks_until = min(until, self.last_of_all.sent_at + options.pending_most_s)

    def asked_of_all(self, now: float) -> Request | None:
        """Return the last request to all if another one was meant by it and this one may be answering still."""
        last = self.last_of_all
        recent = last is not self and now < last.sent_at + self.unit.answer_within_s
        return last.last if recent else None

    def waits_for(self, turn: Turn) -> bool:
        """Say whether the open request asks for it."""
        return turn in self.asked

    def opened(self, request: Request, turns: Sequence[Turn], now: float) -> None:
        """A request went out."""
        self.open, self.asked = request, tuple(turns)
        self.last = request
        self.sent_at = now
        self.deadline = now + request.unit.answer_within_s
        self.free_at = now + request.unit.gap_s

    def close(self) -> None:
        """Wait for nothing any more."""
        self.open, self.asked = None, ()

    def heard(self, now: float, *, close: bool) -> None:
        """The unit said something: it lives. With `close` it said what was waited for."""
        self.misses = 0
        self.free_at = min(self.free_at, max(now, self.sent_at + self.unit.gap_s))
        if close:
            self.close()

    def extend(self, now: float, by_s: float, options: Options) -> None:
        """The unit is not done yet: it gets more time, from now, but not for ever."""
        self.deadline = min(now + by_s, self.sent_at + options.pending_most_s)

    def may_answer_late(self, now: float, options: Options) -> bool:
        """Say whether what comes now may answer an earlier request, whose time is over."""
        return now < self.expired_at + options.late_s

    def refused(self, now: float, options: Options, busy: bool) -> None:
        """The unit refused for now; one that refuses everything is left alone longer and longer."""
        self.refusals += 1
        self.free_at = max(self.free_at, now + options.left_alone_s(self.refusals, busy))

    def expire(self, now: float, options: Options) -> tuple[Request, tuple[Turn, ...]] | None:
        """Close the open request if its time is over, and return it; a unit that stays silent is left alone longer."""
        if self.open is None or now < self.deadline:
            return None
        request, turns = self.open, self.asked
        self.close()
        self.expired_at = now
        self.misses += 1
        for turn in turns:
            turn.missed(now, options, alone=len(turns) == 1)
        if self.misses >= options.silent_after:
            self.free_at = now + options.back_off(self.misses - options.silent_after + 1)
        if not request.speech.echoes:  # its late answer would be taken for one to the next request
            self.free_at = max(self.free_at, now + options.late_s)
        return request, turns


def wait_text(until: float, now: float) -> str:
    """Return "; asked again in 3 s", or nothing if it can be asked at any moment."""
    return f"; asked again in {until - now:.1f} s" if now < until < inf else ""


def _ago(at: float, now: float) -> str:
    return "never" if at == -inf else f"{now - at:.2f} s ago"
