"""Alerts: which limit is passed for long enough, raised once, and taken off by the driver.

Pure: `step` is handed a snapshot and tells what is new. A value that is gone neither raises nor clears anything: what
was raised stays until it is acknowledged, since a sensor that dies in the heat is no reason to calm down.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..contract.errors import UnderdashError
from ..contract.pages import ALARMS, Alert, Role
from ..contract.signals import Age, Snapshot
from ..contract.words import Words

SWITCH_WORDS = {True: ("true", "on", "yes", "1"), False: ("false", "off", "no", "0")}


@dataclass(slots=True)
class _State:
    since: float | None = None
    raised: bool = False
    acknowledged: bool = False
    presented: bool = False
    """Its page had its turn; it gets another one after the alert was over."""


class Alerts:
    """The alerts of the running configuration.

    Args:
        alerts: what plug-ins declared.

    Raises:
        UnderdashError: two alerts share a name, one has not exactly one limit, or one is neither caution nor warning.
    """

    def __init__(self, alerts: Iterable[Alert]) -> None:
        self._states: dict[str, tuple[Alert, _State]] = {}
        self._presenting: str | None = None
        for alert in alerts:
            if (alert.above is None) == (alert.below is None):
                raise UnderdashError(f"alert {alert.name!r}: it needs one limit, either above or below")
            if alert.role not in ALARMS:
                raise UnderdashError(f"alert {alert.name!r}: its role is {alert.role!r}; it is a caution or a warning")
            if alert.name in self._states:
                raise UnderdashError(f"alert {alert.name!r}: declared twice; give one of them another name")
            self._states[alert.name] = alert, _State()

    @property
    def signals(self) -> tuple[str, ...]:
        """Signals that must be known for the alerts to work."""
        wanted: dict[str, None] = {}
        for alert, _ in self._states.values():
            wanted[alert.signal] = None
            if alert.only_while is not None:
                wanted[alert.only_while[0]] = None
        return tuple(wanted)

    @property
    def shown(self) -> tuple[Alert, ...]:
        """Alerts that are raised and not acknowledged, warnings first."""
        found = [a for a, state in self._states.values() if state.raised and not state.acknowledged]
        return tuple(sorted(found, key=lambda alert: alert.role is not Role.WARNING))

    def take_over(self, before: Alerts) -> None:
        """Go on with what another one knows of the same alerts: one that was acknowledged does not come anew."""
        for name, (alert, _) in self._states.items():
            known = before._states.get(name)
            if known is not None and known[0] == alert:
                self._states[name] = known
                self._presenting = name if before._presenting == name else self._presenting

    def banner(self) -> Words | None:
        """Return what the panel says: the foremost alert and how many more there are; None if nothing is raised."""
        shown = self.shown
        if not shown:
            return None
        more = f" +{len(shown) - 1}" if len(shown) > 1 else ""
        return Words(shown[0].text + more, shown[0].role)

    def presenting(self) -> Alert | None:
        """Return the alert whose page has its turn: from when the panel first says the alert until it no longer does.

        It is asked after every step and every acknowledgement. An alert whose page had its turn gets no other one
        before it was over.
        """
        head = next(iter(self.shown), None)
        if head is None or head.page is None:
            self._presenting = None
            return None
        if self._presenting != head.name:
            state = self._states[head.name][1]
            self._presenting = None if state.presented else head.name
            state.presented = True
        return head if self._presenting is not None else None

    def step(self, snapshot: Snapshot) -> list[Alert]:
        """Look at the values and return the alerts that are raised by this very step."""
        return [alert for alert, state in self._states.values() if self._look(alert, state, snapshot)]

    def acknowledge(self) -> list[Alert]:
        """Take the alert that is shown off the panel; return it, or nothing if there was none."""
        shown = self.shown[:1]
        for alert in shown:
            self._states[alert.name][1].acknowledged = True
        return list(shown)

    def _look(self, alert: Alert, state: _State, snapshot: Snapshot) -> bool:
        value = snapshot.number(alert.signal)
        if value is None or snapshot.reading(alert.signal).age is Age.GONE:
            state.since = None
            return False
        if state.raised:
            if _clear(alert, value):
                state.raised = state.acknowledged = state.presented = False
                state.since = None
            return False
        if not (_passed(alert, value) and _holds(alert, snapshot)):
            state.since = None
            return False
        state.since = snapshot.now if state.since is None else state.since
        state.raised = snapshot.now - state.since >= alert.delay_s
        return state.raised


def _passed(alert: Alert, value: float) -> bool:
    if alert.above is not None:
        return value > alert.above
    return alert.below is not None and value < alert.below


def _clear(alert: Alert, value: float) -> bool:
    if alert.above is not None:
        return value <= alert.above - alert.clears_by
    return alert.below is not None and value >= alert.below + alert.clears_by


def _holds(alert: Alert, snapshot: Snapshot) -> bool:
    if alert.only_while is None:
        return True
    name, wanted = alert.only_while
    value = snapshot.reading(name).value
    if isinstance(value, bool):
        return wanted.lower() in SWITCH_WORDS[value]
    return value is not None and str(value) == wanted
