"""What the driver chose by a button: a switch or choice that keeps its value until it is chosen again.

A choice comes after everything that listens, is wired or asks, and it is no evidence for the ignition.
"""

from __future__ import annotations

from math import inf

import structlog

from ..contract.buttons import SetChoice
from ..contract.signals import Kind, Quality, Signal, Value
from ..signals.catalogue import Catalogue
from ..signals.store import Rank, Slot, Store

_log = structlog.get_logger()

CHOSEN = "chosen"
"""What it is called as a source."""


class Choices:
    """Keeps choices as one more source of their signals.

    Args:
        store: where they go.
        catalogue: signals that are declared.
    """

    def __init__(self, store: Store, catalogue: Catalogue) -> None:
        self._store = store
        self._catalogue = catalogue
        self._slots: dict[str, Slot] = {}

    def choose(self, choice: SetChoice, now: float) -> str:
        """Take a choice; returns what is wrong with it, "" if it was taken."""
        signal = self._catalogue.get(choice.signal)
        wrong = f"no signal {choice.signal!r} is declared" if signal is None else _wrong(signal, choice.value)
        if wrong or signal is None:
            _log.warning("choice_refused", signal=choice.signal, value=choice.value, why=wrong)
            return wrong
        slot = self._slots.get(signal.name)
        if slot is None:
            slot = self._slots[signal.name] = self._store.slot(signal.name, CHOSEN, Rank.DERIVED, period_s=inf)
        slot.put(choice.value, Quality.GOOD, now)
        return ""

    def take_over(self, before: Choices, now: float) -> None:
        """Go on with what was chosen, where that can be chosen still."""
        for name, slot in before._slots.items():
            if isinstance(slot.value, bool | str):
                self.choose(SetChoice(name, slot.value), now)


def _wrong(signal: Signal, value: Value) -> str:
    if signal.kind is Kind.SWITCH:
        return "" if isinstance(value, bool) else f"{signal.name} is a switch, True or False; found {value!r}"
    if signal.kind is not Kind.CHOICE:
        return f"{signal.name} is a {signal.kind.value}; only switches and choices can be chosen"
    return "" if value in signal.choices else f"{signal.name} is one of {', '.join(signal.choices)}; found {value!r}"
