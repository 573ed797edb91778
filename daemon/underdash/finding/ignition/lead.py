"""Leading a person through the recording that `find ignition` wants: what to do when, until the buses sleep.

A state machine without clock and keyboard: `tick` returns what to say now, `marked` takes a mark, `heard` that a frame
came.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do.

    Attributes:
        word: what its mark says.
        say: how it is done.
        rest_s: how long to leave it so.
    """

    word: str
    say: str
    rest_s: float = 4.0


STEPS = (
    Step("LOCK", "sit in the car with its door shut, the key out or everything switched off"),
    Step("door", "open and shut a door"),
    Step("key", "lock and unlock with the key's buttons", 6.0),
    Step("OFF", "key in, turned to nothing yet"),
    Step("ACC", "accessories: the radio works, the instruments are dark"),
    Step("ON", "ignition on, engine at rest: the instruments are lit", 6.0),
    Step("START", "start the engine, from standstill and out of gear; Enter as the starter turns", 0.0),
    Step("running", "Enter as it runs, or as the car is ready to drive", 6.0),
    Step("ON", "stop the engine but leave the ignition on, where your car can", 6.0),
    Step("OFF", "ignition off"),
    Step("LOCK", "take the key out, or switch everything off; then leave the car alone"),
)
"""Doors and key first, while all is off: what answers to them is not the ignition."""

AWAKE = ("ON", "START", "running")
"""Positions in which a car's buses are never silent (common practice)."""
REMIND_S = 20.0
SILENT_S, LONGEST_S = 10.0, 900.0
"""The buses sleep when nothing came for so long; a bus that never sleeps is waited for no longer than this."""


class IgnitionLead:
    """Leads through the steps, one after the other.

    Args:
        now: seconds.
        steps: what is to be done.

    Attributes:
        done: nothing is left to do.
        awake: the ignition is on, so that the buses have to be heard.
    """

    def __init__(self, now: float, steps: Sequence[Step] = STEPS) -> None:
        self._steps = list(steps)
        self._asked = False
        self._until = now
        self._last_heard = now
        self._end: float | None = None
        self._said = [
            "with the car standing, out of gear, in the open or well aired",
            "each time: do it, press Enter as you do, and leave it so; - and Enter where your car has no such thing",
        ]
        self.done = self.awake = False

    @property
    def word(self) -> str | None:
        """What a mark set now means; None while nothing is asked for."""
        return self._steps[0].word if self._asked else None

    def heard(self, now: float) -> None:
        """Take note that a frame came."""
        self._last_heard = now

    def marked(self, now: float) -> None:
        """Take note that what was asked for was done."""
        if self._asked:
            self.awake = self._steps[0].word in AWAKE and len(self._steps) > 1
            self._next(now + self._steps[0].rest_s)

    def skipped(self, now: float) -> None:
        """Take note that the car has no such thing."""
        if self._asked:
            self._next(now)

    def tick(self, now: float) -> str | None:
        """Return a sentence to say now, or None."""
        if self._said:
            return self._said.pop(0)
        if not self._steps:
            return self._after(now)
        step = self._steps[0]
        if now < self._until:
            return None
        again = "still waiting: " if self._asked else "now: "
        self._asked, self._until = True, now + REMIND_S
        return f"{again}{step.word} - {step.say}"

    def _next(self, at: float) -> None:
        self._steps.pop(0)
        self._asked, self._until = False, at

    def _after(self, now: float) -> str | None:
        if self.done:
            return None
        if self._end is None:
            self._end = now + LONGEST_S
            return "that is all; it records on until the buses sleep (Ctrl-C ends it sooner)"
        if now - self._last_heard >= SILENT_S:
            self.done = True
            return "the buses sleep"
        if now >= self._end:
            self.done = True
            return f"the buses still talk after {LONGEST_S / 60:.0f} minutes; that is enough"
        return None
