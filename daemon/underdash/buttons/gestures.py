"""Presses become gestures. Pure: samples and times go in, finished gestures come out.

A press is finished on release, or at once where nothing but presses and repeats are bound to the button; it waits for
a second one only where a double is bound. A hold is finished when its time is over, the finger still down. A button
that is down when first heard, or after a loss, does nothing until it was released.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import inf

from ..contract.buttons import ButtonHandler, Gesture, GestureKind


@dataclass(frozen=True, slots=True)
class GestureOptions:
    """Times in seconds.

    Args:
        double_s: the second press of a double begins this soon after the first was released.
        repeat_after_s: a button held this long begins to repeat ...
        repeat_s: ... and does so at this period.
        stuck_s: a button down this long is stuck: it does nothing and is reported.
    """

    double_s: float = 0.35
    repeat_after_s: float = 0.5
    repeat_s: float = 0.2
    stuck_s: float = 30.0


@dataclass(slots=True)
class _Button:
    """What is bound to a button and what the finger does."""

    name: str
    kinds: frozenset[GestureKind]
    hold_s: float
    down: bool | None = None
    since: float = -inf
    """Time of the press that is going on."""
    spent: bool = True
    """The press that is going on has become a gesture, or does not count."""
    waiting: float | None = None
    """Until when a single press waits for a second one."""
    pressed_s: float = 0.0
    """How long that single press took."""
    next_repeat: float = inf
    stuck: bool = False


@dataclass(slots=True)
class Gestures:
    """Recognises gestures on all buttons.

    Args:
        handlers: what is bound; gestures nobody handles are not looked for.
        options: times.
    """

    handlers: Iterable[ButtonHandler]
    options: GestureOptions = field(default_factory=GestureOptions)
    _buttons: dict[str, _Button] = field(init=False)
    _ready: list[Gesture] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        self._buttons = {name: _Button(name, *bound) for name, bound in _bound(self.handlers).items()}

    def take_over(self, before: Gestures, buttons: Iterable[str]) -> None:
        """Go on with what the finger does on these buttons, where the same is bound to them."""
        for name in buttons:
            one, known = self._buttons.get(name), before._buttons.get(name)
            if one is not None and known is not None and (one.kinds, one.hold_s) == (known.kinds, known.hold_s):
                self._buttons[name] = known
                self._ready += [gesture for gesture in before._ready if gesture.button == name]

    # --- what comes in ------------------------------------------------------------------------------------------

    def sample(self, button: str, pressed: bool, at: float) -> None:
        """Take the state of a button; one nobody handles is ignored, and the same state again is no event."""
        found = self._buttons.get(button)
        if found is None:
            return
        self._advance(found, at)
        if found.down is None:
            # it may have been down for long: wait for its release
            found.down, found.since, found.spent = pressed, at, True
        elif pressed and not found.down:
            self._pressed(found, at)
        elif not pressed and found.down:
            self._released(found, at)

    def lost(self, now: float, button: str | None = None) -> None:
        """Take note that a button, or with None all, is not heard any more: what was going on is cancelled."""
        for one in self._buttons.values():
            if button in (None, one.name):
                self._advance(one, now)
                one.down, one.spent, one.waiting, one.next_repeat, one.stuck = None, True, None, inf, False

    def tick(self, now: float) -> list[Gesture]:
        """Return the gestures that are finished, in the order they were finished in."""
        for one in self._buttons.values():
            self._advance(one, now)
        ready, self._ready = self._ready, []
        return ready

    # --- questions ----------------------------------------------------------------------------------------------

    def deadline(self, now: float) -> float | None:
        """Return when `tick` is worth calling next without a new sample (monotonic s), None if never."""
        if self._ready:
            return now
        return min((time for one in self._buttons.values() if (time := self._next(one)) < inf), default=None)

    def progress(self, now: float) -> float:
        """Return how far the furthest hold has come, 0..1; 0 while nothing is held towards one."""
        shares = [(now - one.since) / one.hold_s for one in self._buttons.values() if _holding(one)]
        return min(1.0, max([0.0, *shares]))

    @property
    def stuck(self) -> tuple[str, ...]:
        """Buttons that have been down for too long, as of the last tick or sample."""
        return tuple(one.name for one in self._buttons.values() if one.stuck)

    # --- inside -------------------------------------------------------------------------------------------------

    def _pressed(self, one: _Button, at: float) -> None:
        one.down, one.since, one.spent = True, at, False
        if one.waiting is not None:
            one.waiting = None
            one.spent = True
            self._emit(one, GestureKind.DOUBLE, 0.0)
        elif not {GestureKind.HOLD, GestureKind.DOUBLE} & one.kinds:
            one.spent = True
            self._emit(one, GestureKind.PRESS, 0.0)
        if GestureKind.REPEAT in one.kinds:
            one.next_repeat = at + self.options.repeat_after_s

    def _released(self, one: _Button, at: float) -> None:
        one.down, one.next_repeat, one.stuck = False, inf, False
        if one.spent:
            return
        one.spent = True
        if GestureKind.DOUBLE in one.kinds:
            one.waiting, one.pressed_s = at + self.options.double_s, at - one.since
        else:
            self._emit(one, GestureKind.PRESS, at - one.since)

    def _advance(self, one: _Button, now: float) -> None:
        """Let time pass for a button: what falls due before `now` is finished at its own time."""
        if one.waiting is not None and now >= one.waiting:
            one.waiting = None
            self._emit(one, GestureKind.PRESS, one.pressed_s)
        if not one.down:
            return
        if _holding(one) and now - one.since >= one.hold_s:
            one.spent = True
            self._emit(one, GestureKind.HOLD, one.hold_s)
        stuck_at = one.since + self.options.stuck_s
        while one.next_repeat <= min(now, stuck_at):
            one.spent = True
            self._emit(one, GestureKind.REPEAT, one.next_repeat - one.since)
            one.next_repeat += self.options.repeat_s
        if now >= stuck_at:
            one.stuck, one.spent, one.next_repeat = True, True, inf

    def _next(self, one: _Button) -> float:
        times = [one.next_repeat, inf if one.waiting is None else one.waiting]
        if _holding(one):
            times.append(one.since + one.hold_s)
        if one.down and not one.stuck:
            times.append(one.since + self.options.stuck_s)
        return min(times)

    def _emit(self, one: _Button, kind: GestureKind, held_s: float) -> None:
        if kind in one.kinds:
            self._ready.append(Gesture(one.name, kind, held_s))


def _holding(one: _Button) -> bool:
    return bool(one.down) and not one.spent and GestureKind.HOLD in one.kinds


def _bound(handlers: Iterable[ButtonHandler]) -> Mapping[str, tuple[frozenset[GestureKind], float]]:
    """Return what is bound to each button, and the time of its hold."""
    bound: dict[str, tuple[frozenset[GestureKind], float]] = {}
    for handler in handlers:
        kinds, hold_s = bound.get(handler.button, (frozenset(), inf))
        if handler.kind is GestureKind.HOLD:
            hold_s = handler.hold_s
        bound[handler.button] = (kinds | {handler.kind}, hold_s)
    return bound
