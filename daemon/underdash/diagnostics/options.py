"""The numbers of asking: weights, caps and times, with what each is for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from ..signals.wants import WantKind

WEIGHTS = MappingProxyType(
    {WantKind.PAGE: 4.0, WantKind.ALERT: 2.0, WantKind.RECORDER: 1.0, WantKind.HIDDEN: 0.5},
)


@dataclass(frozen=True, slots=True)
class Options:
    """How the scheduler behaves.

    Args:
        weights: how much a kind of wish counts against the others.
        alert_at_least_s: an alert's signal that has waited this long counts `overdue` times as much.
        overdue: see there; a value that scales others counts as much more, too.
        now_periods: how many of its periods a value counts as old when a page that needs it is turned to.
        requests_per_s: cap a bus, over any second; None lifts it.
        burst: requests that may follow each other closely after a pause.
        spacing_s: least time between two requests on a bus.
        together: share of its period by which a value may be asked early to go with one that is due.
        most_a_request: identifiers in one request; units and standards set lower limits. 1 asks for each by itself.
        next_frame_s: time a unit has for the next frame of a message in several (N_Cr and N_Bs of ISO 15765-2).
        pending_s: time a unit has after it said "still working" (P2* of ISO 14229-2, 5 s).
        pending_most_s: after this it counts as silent, whatever it says.
        busy_s: until a busy unit is asked the same again; doubles up to eight times that.
        slowly_s: until a request is asked again that was refused for conditions.
        refusing_after: refusals for the moment in a row, whatever was asked, after which a unit as a whole is left
            alone for a while. One identifier alone that is refused costs two: with others, and by itself.
        silent_after: misses in a row after which a unit counts as silent.
        late_s: so long after its time was over an answer may still come. What does not say which request it answers is
            not trusted until then.
        back_off_s: first pause after misses; it doubles with each.
        back_off_most_s: longest pause.
        held_s: until a request is offered again that the guard held back for a reason that lasts.
        held_capped_s: until a unit is asked again after a cap held a request back.
        held_shortly_s: the same after a reason that passes within milliseconds.
    """

    weights: Mapping[WantKind, float] = field(default_factory=lambda: WEIGHTS)
    alert_at_least_s: float = 2.0
    overdue: float = 16.0
    now_periods: float = 20.0
    requests_per_s: float | None = 40.0
    burst: int = 4
    spacing_s: float = 0.001
    together: float = 0.25
    most_a_request: int = 12
    next_frame_s: float = 1.0
    pending_s: float = 5.0
    pending_most_s: float = 30.0
    busy_s: float = 0.25
    slowly_s: float = 5.0
    refusing_after: int = 3
    silent_after: int = 3
    late_s: float = 1.0
    back_off_s: float = 1.0
    back_off_most_s: float = 30.0
    held_s: float = 0.5
    held_capped_s: float = 0.025
    held_shortly_s: float = 0.002

    def back_off(self, times: int) -> float:
        """Return the pause after the `times`-th miss that counts, from 1."""
        return float(min(self.back_off_s * 2 ** min(times - 1, 16), self.back_off_most_s))

    def left_alone_s(self, refusals: int, busy: bool) -> float:
        """Return the pause of a unit after refusals for the moment in a row; it grows up to that of one request.

        Args:
            refusals: how many, without an answer in between.
            busy: it says that it is busy, which may end at any moment.
        """
        if refusals <= self.refusing_after:
            return 0.0
        pause = self.busy_s * 2 ** min(refusals - self.refusing_after - 1, 16)
        return float(min(pause, 8 * self.busy_s if busy else self.slowly_s))
