"""What the daemon does when a person or a limit asks for it: actions, alerts with their pages, notes on the panels."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

import structlog

from ..contract.buttons import (
    Acknowledge,
    Action,
    GoQuiet,
    Mark,
    Refresh,
    ResetPeak,
    SetChoice,
    ShowPage,
    ShowRate,
    TurnPage,
)
from ..contract.errors import UnderdashError
from ..contract.pages import Alert, Role
from ..contract.signals import Snapshot
from ..contract.words import Words
from ..display.alerts import Alerts
from .choices import Choices
from .rates import Rates

if TYPE_CHECKING:
    from .daemon import Daemon

_log = structlog.get_logger()

RATE_S = 10.0
SAID_S = 3.0


class Acting:
    """Acts for a daemon.

    Args:
        daemon: which; it need not have begun.
    """

    def __init__(self, daemon: Daemon) -> None:
        self.alerts = Alerts([alert for _, alert in daemon.assembly.brought.alerts])
        self.rates = Rates(daemon.assembly)
        self._daemon = daemon
        self._choices = Choices(daemon.assembly.store, daemon.assembly.catalogue)
        self._presented: Alert | None = None
        self._rate_until = -inf
        self._said: tuple[str, float] = "", -inf

    def take_over(self, before: Acting, now: float) -> None:
        """Go on with what another one did: alerts that are up or acknowledged, choices, words that are being said."""
        self.alerts.take_over(before.alerts)
        self._choices.take_over(before._choices, now)
        self._presented, self._rate_until, self._said = before._presented, before._rate_until, before._said

    def perform(self, action: Action, now: float) -> None:
        """Do what a button handler or a command asked for."""
        daemon = self._daemon
        match action:
            case TurnPage(step):
                for screen in daemon.screens:
                    screen.turn(step)
            case ShowPage(page):
                self._show(page)
            case ResetPeak(signal):
                daemon.assembly.memory.reset(signal)
            case Acknowledge():
                self.alerts.acknowledge()
            case Refresh(signal):
                daemon.assembly.asking.scheduler.ask_now([signal], now)
                daemon.sending.pump()
            case GoQuiet(on):
                daemon.sending.guard.quiet = on
                daemon.keep()
            case SetChoice():
                self._choices.choose(action, now)
            case Mark(text):
                self._mark(text, now)
            case ShowRate():
                self._rate_until = -inf if now < self._rate_until else now + RATE_S

    def say(self, text: str, now: float) -> None:
        """Have a few words said on every panel for a moment."""
        self._said = text, now + SAID_S

    def look(self, snapshot: Snapshot, now: float) -> None:
        """Look whether a limit is passed; put up the page of an alert that comes, and take it down afterwards."""
        for alert in self.alerts.step(snapshot):
            _log.warning("alert", alert=alert.name, text=alert.text)
            self._mark(f"alert {alert.name}: {alert.text}", now)
        presented, before = self.alerts.presenting(), self._presented
        if presented is before:
            return
        self._presented = presented
        for screen in self._daemon.screens:
            if before is not None:
                screen.take_down()
            if presented is not None and presented.page is not None:
                screen.put_up(presented.page)

    def words(self, panel: str, now: float) -> Words | None:
        """Return what a panel says over its page: an alert, else why an action was held back, else the rate."""
        alert = self.alerts.banner()
        if alert is not None:
            return alert
        text, until = self._said
        if now < until:
            return Words(text, Role.SOFT)
        rate = self.rates.of(panel) if now < self._rate_until else None
        return None if rate is None else Words(rate.sentence, Role.SOFT)

    def count(self, now: float) -> None:
        """Count how often main values come; called a few times a second."""
        self.rates.look([(screen.name, screen.deck.current) for screen in self._daemon.screens], now)

    def _mark(self, text: str, now: float) -> None:
        if self._daemon.recorder is not None:
            self._daemon.recorder.mark(text, now)

    def _show(self, page: str) -> None:
        for screen in self._daemon.screens:
            try:
                screen.show(page)
            except UnderdashError as exc:
                _log.warning("page_not_shown", page=page, error=str(exc))
