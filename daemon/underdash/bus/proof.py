"""Whether the bit rate of an open bus is right: told by what is heard, or by the answer to a single request.

A controller at a wrong rate receives nothing whole and, unless it only listens, disturbs the others with every frame
they send. So nothing is sent before there is proof. Pure; times are monotonic seconds.
"""

from __future__ import annotations

from math import inf

from .controller import Controller

FRAMES = 200
CLEAN_S = 1.0
ANSWER_S = 1.0
SWITCH_S = 10.0
ERRORS_IN_A_ROW = 3


class Proof:
    """What speaks for the rate of one bus.

    Heard: `FRAMES` good frames, and none of error for `CLEAN_S`, since the interface was opened.

    Asked: on a bus that is silent until asked (a gateway) one request may go out, by a controller that does not repeat
    it (one-shot mode): at a wrong rate that is one disturbed frame and no more. One whole frame that comes back is
    proof; without one within `ANSWER_S` the bus stays closed until its interface is opened anew. As nothing more is
    heard there unasked, a single error does not take the proof away again, `ERRORS_IN_A_ROW` do.

    Args:
        asked_only: the description says that the bus is silent until asked.
    """

    def __init__(self, asked_only: bool = False) -> None:
        self.asked_only = asked_only
        self._controller: Controller | None = None
        self._good = 0
        self._clean_since = inf
        self._answered = False
        self._asked_at = inf
        self._errors = 0
        self._ever = False
        self._carried: tuple[Controller | None, float] | None = None

    def opened(self, controller: Controller | None, at: float) -> None:
        """Begin anew: another adapter, another rate or another mode may be there now."""
        carried, self._carried = self._carried, None
        held = carried is not None and at <= carried[1] and _same(carried[0], controller)
        self._controller = controller
        self._good = FRAMES if held else 0
        self._clean_since = at - CLEAN_S if held else at
        self._answered, self._asked_at, self._errors, self._ever = False, inf, 0, False

    def looked(self, controller: Controller | None) -> None:
        """Take how the interface is set up now."""
        self._controller = controller

    def carry(self, now: float) -> None:
        """Take note that we have the interface switched off and on: what was proven holds if it comes back the same."""
        if self.proven(now):
            self._carried = self._controller, now + SWITCH_S

    def switching(self, now: float) -> bool:
        """Say whether the interface is being switched off and on for us."""
        return self._carried is not None and now <= self._carried[1]

    def good(self, count: int, own: int) -> None:
        """Take `count` good frames, of which `own` are ours."""
        self._good += count
        self._errors = 0
        self._answered |= count > own

    def bad(self, at: float) -> None:
        """Take a frame of error."""
        self._errors += 1
        self._ever |= self.proven(at)
        if not self.asked_only or self._errors >= ERRORS_IN_A_ROW:
            self._good = 0
            self._clean_since = at
            self._answered = False

    def sent(self, at: float) -> None:
        """Take a frame of ours."""
        self._asked_at = min(self._asked_at, at)

    def proven(self, now: float) -> bool:
        """Say whether the rate is right."""
        heard = self._good >= FRAMES and now - self._clean_since >= CLEAN_S
        return heard or (self._may_ask and self._answered)

    def never(self, now: float) -> bool:
        """Say whether the rate has not been right at any time since the interface was opened."""
        return not (self._ever or self.proven(now))

    def trial(self, now: float) -> bool:
        """Say whether the one request may go out that proves the rate by its answer."""
        return self._may_ask and self._asked_at == inf and not self.proven(now) and self._clean_since < now

    def unanswered(self, now: float) -> bool:
        """Say whether that request has gone out and nobody answered."""
        return self._may_ask and now - self._asked_at > ANSWER_S and not self.proven(now)

    @property
    def _may_ask(self) -> bool:
        setup = self._controller
        return self.asked_only and setup is not None and setup.one_shot and not setup.listen_only


def _same(before: Controller | None, after: Controller | None) -> bool:
    """Say whether this is the same adapter at the same rate; another one, or one plugged in anew, has a new number."""
    return before is not None and after is not None and (before.index, before.bitrate) == (after.index, after.bitrate)
