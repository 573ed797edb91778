"""Wheel buttons: samples become gestures, gestures become actions, and the core performs them."""

from __future__ import annotations

from collections.abc import Callable

import structlog

from ..buttons.gestures import GestureOptions, Gestures
from ..buttons.handlers import WIRED
from ..buttons.motion import ENGINE, SPEED, held_back
from ..contract.buttons import Action, ResetPeak
from ..contract.signals import Snapshot
from ..signals.catalogue import BUTTON
from ..signals.store import Slot
from .assembly import Assembly

_log = structlog.get_logger()

FAILURES_ALLOWED = 3


class Fingers:
    """What the driver's fingers do.

    Args:
        assembly: whose buttons and handlers.
        options: times of gestures.
        perform: called with each action.
        say: called with (sentence, now) about an action that is held back.
    """

    def __init__(
        self,
        assembly: Assembly,
        options: GestureOptions,
        perform: Callable[[Action], None],
        say: Callable[[str, float], None] = lambda sentence, now: None,
    ) -> None:
        self.bindings = assembly.bindings
        self.gestures = Gestures(self.bindings.handlers, options)
        self.performed = 0
        self._assembly = assembly
        self._perform = perform
        self._say = say
        self._failures: dict[str, int] = {}
        self._unheld: set[str] = set()
        self._wired = {name for name, use in assembly.car.buttons if use == WIRED}
        self._buttons = tuple(dict.fromkeys(handler.button for handler in self.bindings.handlers))
        for button in self._buttons:
            assembly.store.watch(BUTTON + button, self._sample)

    def take_over(self, before: Fingers, same: Callable[[str], bool]) -> None:
        """Go on with presses that are going on, on buttons that are where they were, and with what was counted."""
        self.gestures.take_over(before.gestures, [name for name in self._buttons if same(BUTTON + name)])
        self.performed, self._failures = before.performed, before._failures

    def _sample(self, slot: Slot) -> None:
        self.gestures.sample(slot.signal.name.removeprefix(BUTTON), bool(slot.value), slot.at)

    def tick(self, snapshot: Callable[[], Snapshot], now: float) -> None:
        """Perform what finished gestures ask for."""
        for gesture in self.gestures.tick(now):
            seen = snapshot()
            outcome = self.bindings.call(gesture, seen)
            if outcome.error:
                self._failed(outcome.plugin, outcome.error)
            for action in outcome.actions:
                why = held_back(action, seen)
                if why:
                    _log.info("action_held_back", button=gesture.button, action=type(action).__name__, why=why)
                    self._say(why, now)
                    continue
                self._look(action, outcome.plugin)
                _log.info("action", button=gesture.button, gesture=gesture.kind.value, action=type(action).__name__)
                self.performed += 1
                self._perform(action)

    def _look(self, action: Action, plugin: str) -> None:
        """Say once of a peak that nobody holds that there is nothing to forget."""
        if not isinstance(action, ResetPeak) or action.signal is None or self._assembly.memory.holds(action.signal):
            return
        if action.signal not in self._unheld:
            self._unheld.add(action.signal)
            remedy = "name it in the peaks of a page, or reset all with ResetPeak()"
            _log.warning("peak_not_held", plugin=plugin, signal=action.signal, remedy=remedy)

    @property
    def wants(self) -> tuple[str, ...]:
        """Signals that must be known to tell whether the car moves: its speed, or where nobody has it, the engine's."""
        if not self.bindings.handlers:
            return ()
        return (SPEED,) if self._assembly.store.slots(SPEED) else ENGINE

    def notes(self) -> list[str]:
        """Return a sentence for each button that is stuck."""
        return [f"button {name} is stuck" for name in self.gestures.stuck]

    def lost(self, now: float) -> None:
        """Take note that a bus was lost: what was held on the car's buttons is held no longer."""
        for button in self._buttons:
            if button not in self._wired:
                self.gestures.lost(now, button)

    def line_lost(self, button: str, now: float) -> None:
        """Take note that the wire of a push button was lost; "" is a wire that is no button."""
        if button:
            self.gestures.lost(now, button)

    def _failed(self, plugin: str, error: str) -> None:
        count = self._failures[plugin] = self._failures.get(plugin, 0) + 1
        _log.warning("button_handler_failed", plugin=plugin, error=error)
        if count >= FAILURES_ALLOWED:
            self._assembly.suspensions.add(plugin, f"{error} ({count} times)")
