"""Leading a person through a recording that finds a button: what to do when, how often, and when it is enough.

A state machine without clock and keyboard: `tick` returns what to say now, `marked` takes a mark, and whenever
`judging` names a word, `judged` wants what the recording so far says about it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum, auto

from ..found import Answer

SURE = 0.9


@dataclass(frozen=True)
class Plan:
    """How it is done.

    Attributes:
        quiet_s: how long everything is left alone first, which shows what changes by itself.
        fewest, most: presses of each word before it is judged, and at which it ends in any case.
        further: presses after `fewest` at which a tie, or that nothing reacts, is taken as settled.
        remind_s: how long a press is waited for before it is asked for again.
        settle_s: how long after a mark the recording is judged, since the answer may go on.
    """

    quiet_s: float = 60.0
    fewest: int = 5
    most: int = 10
    further: int = 2
    remind_s: float = 10.0
    settle_s: float = 2.0


class _State(Enum):
    QUIET = auto()
    PAUSE = auto()
    ASKED = auto()
    SETTLING = auto()
    DONE = auto()


class Lead:
    """Leads through some words, one after the other.

    Args:
        words: what is to be done, each in a word or a few.
        now: seconds.
        waits: how long to wait before each press, in seconds; irregular, so that nothing else keeps time with it.
        plan: how it is done.
    """

    def __init__(self, words: Sequence[str], now: float, waits: Iterator[float], plan: Plan | None = None) -> None:
        self._words = list(words)
        self._waits = waits
        self._plan = plan or Plan()
        self._state = _State.QUIET
        self._until = now + self._plan.quiet_s
        self._said: list[str] = [
            f"leave everything alone for {self._plan.quiet_s:.0f} s; this shows what changes by itself"
        ]
        self._count = 0

    @property
    def done(self) -> bool:
        """Whether nothing is left to do."""
        return self._state is _State.DONE and not self._said

    @property
    def quiet(self) -> bool:
        """Whether everything is still to be left alone."""
        return self._state is _State.QUIET

    @property
    def word(self) -> str | None:
        """What is to be done now; None at the end."""
        return self._words[0] if self._words else None

    def judging(self, now: float) -> str | None:
        """Return the word about which `judged` wants to know what the recording says."""
        return self.word if self._state is _State.SETTLING and now >= self._until else None

    def tick(self, now: float) -> str | None:
        """Return a sentence to say now, or None."""
        if self._said:
            return self._said.pop(0)
        if self._state is _State.QUIET and now >= self._until:
            self._pause(now)
        elif self._state is _State.PAUSE and now >= self._until:
            self._state, self._until = _State.ASKED, now + self._plan.remind_s
            return f"now: {self.word} ({self._count + 1}), and press Enter as you do it"
        elif self._state is _State.ASKED and now >= self._until:
            self._until = now + self._plan.remind_s
            return f"still waiting for {self.word}: do it, and press Enter as you do"
        return None

    def marked(self, now: float) -> None:
        """Take note that a person set a mark, whether it was asked for or not."""
        if self._state is _State.DONE:
            return
        self._count += 1
        if self._count >= self._plan.fewest:
            self._state, self._until = _State.SETTLING, now + self._plan.settle_s
        elif self._state is not _State.QUIET:
            self._pause(now)

    def judged(self, answer: Answer, now: float) -> None:
        """Take what the recording says about the word, and decide whether it is enough."""
        why = self._enough(answer)
        if why is None:
            self._said.append("not sure yet, once more")
            self._pause(now)
            return
        self._said.append(why)
        self._words.pop(0)
        self._count = 0
        if self._words:
            self._pause(now)
        else:
            self._state = _State.DONE

    def _pause(self, now: float) -> None:
        self._state, self._until = _State.PAUSE, now + next(self._waits)

    def _enough(self, answer: Answer) -> str | None:
        """Say why no further press is wanted; None if one is."""
        best = answer.best
        if best is not None and best.confidence >= SURE:
            return f"enough: {self.word} is {best.where}"
        settled = self._count >= self._plan.fewest + self._plan.further
        if settled and not answer.ranks:
            return f"enough: nothing reacts to {self.word}"
        if settled and sum(one.confidence for one in answer.ranks[0]) >= SURE:
            alike = f"{len(answer.ranks[0])} fields answer to {self.word} alike"
            return f"enough: {alike}, and more presses will not tell them apart"
        if self._count >= self._plan.most:
            return f"enough: {self._count} presses of {self.word} do not settle it"
        return None
