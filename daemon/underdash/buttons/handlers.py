"""Gestures become actions: which handler belongs to which gesture, what is wrong with that, and guarded calls.

Nothing here raises: mistakes of a configuration and errors of a plug-in come back as data with the plug-in's name.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import get_args

from ..contract.buttons import Action, ButtonHandler, Gesture, GestureKind
from ..contract.errors import raised
from ..contract.fitting import misfit
from ..contract.signals import Snapshot

DRIVING = "driving"
"""What a car's description writes beside a button that acts on driving."""
WIRED = "wired"
"""What is written beside a push button of the owner's own, which the car knows nothing of."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A handler and the plug-in that brought it."""

    plugin: str
    handler: ButtonHandler

    def __str__(self) -> str:
        return f"{self.handler.kind} of {self.handler.button} in plug-in {self.plugin}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a handler gave: actions, or the error of the plug-in that brought it."""

    actions: tuple[Action, ...] = ()
    plugin: str = ""
    error: str = ""


class Bindings:
    """All handlers that can be used.

    Args:
        bound: handlers with their plug-ins.
        buttons: (name, what it acts on) from the car's description.

    Attributes:
        mistakes: sentences; the handlers they name are left out.
        warnings: sentences for `check`; these handlers work.
    """

    def __init__(self, bound: Iterable[Bound], buttons: Iterable[tuple[str, str]] = ()) -> None:
        self.mistakes: list[str] = []
        self.warnings: list[str] = []
        self._known = dict(buttons)
        self._by_gesture: dict[tuple[str, GestureKind], Bound] = {}
        for one in bound:
            self._add(one)

    @property
    def handlers(self) -> tuple[ButtonHandler, ...]:
        """The handlers that can be used, for `Gestures`."""
        return tuple(one.handler for one in self._by_gesture.values())

    def drop(self, plugin: str) -> None:
        """Take the handlers of a suspended plug-in away."""
        self._by_gesture = {key: one for key, one in self._by_gesture.items() if one.plugin != plugin}

    def call(self, gesture: Gesture, snapshot: Snapshot) -> Outcome:
        """Return what is to be done for a gesture; nothing where nobody handles it or its condition does not hold."""
        one = self._by_gesture.get((gesture.button, gesture.kind))
        if one is None:
            return Outcome()
        handler = one.handler
        try:
            if handler.condition is not None and not handler.condition(snapshot):
                return Outcome(plugin=one.plugin)
            actions = tuple(handler.on(gesture, snapshot))
        except (Exception, SystemExit) as exc:
            return Outcome(plugin=one.plugin, error=f"{one}: {raised(exc)}")
        wrong = [action for action in actions if not isinstance(action, get_args(Action))]
        if wrong:
            return Outcome(plugin=one.plugin, error=f"{one}: returned {wrong[0]!r}, which is no action")
        odd = next((f"a {type(action).__name__}: {why}" for action in actions if (why := misfit(action))), "")
        if odd:
            return Outcome(plugin=one.plugin, error=f"{one}: returned {odd}")
        return Outcome(actions, one.plugin)

    def _add(self, one: Bound) -> None:
        handler = one.handler
        if handler.kind is GestureKind.HOLD and not handler.hold_s > 0:
            self.mistakes.append(
                f"{one}: hold_s is {handler.hold_s:g}, but a hold must take more than 0 s, or every press would be "
                "one. Write a time such as 0.8."
            )
            return
        other = self._by_gesture.get((handler.button, handler.kind)) or self._clash(handler)
        if other is not None:
            self.mistakes.append(
                f"{one} and {other} cannot both be had: a finger that does the one does the other too. Give one of "
                "them another button or gesture in its settings, or leave one of the plug-ins out."
            )
            return
        self._by_gesture[handler.button, handler.kind] = one
        self._warn(one)

    def _clash(self, handler: ButtonHandler) -> Bound | None:
        """Return the handler whose gesture cannot be told from this one's: holding is either a hold or repeats."""
        opposite = {GestureKind.HOLD: GestureKind.REPEAT, GestureKind.REPEAT: GestureKind.HOLD}.get(handler.kind)
        return None if opposite is None else self._by_gesture.get((handler.button, opposite))

    def _warn(self, one: Bound) -> None:
        handler = one.handler
        acts_on = self._known.get(handler.button)
        if acts_on is None:
            near = get_close_matches(handler.button, self._known, 1)
            has = f"did you mean {near[0]}?" if near else f"it has {', '.join(self._known) or 'none'}."
            self.warnings.append(f"{one}: the car's description has no button {handler.button}; {has}")
        elif acts_on == DRIVING and handler.condition is None:
            self.warnings.append(
                f"{one}: this button acts on driving, and the car still does what it does. Use another button, or "
                "give the handler a condition such as standing still."
            )
