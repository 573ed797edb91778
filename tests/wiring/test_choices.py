"""What the driver chose by a button."""

from __future__ import annotations

import pytest

from underdash.contract.buttons import SetChoice
from underdash.contract.signals import Age, Quality
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Rank, Store
from underdash.wiring.choices import Choices
from underdash.wiring.key import HEARD


def test_a_choice_stays_until_it_is_chosen_again() -> None:
    store = Store(CATALOGUE)
    choices = Choices(store, CATALOGUE)
    assert choices.choose(SetChoice("dashboard.night", True), 10.0) == ""
    assert store.read("dashboard.night", 90_000.0).value is True
    assert store.read("dashboard.night", 90_000.0).age is Age.FRESH
    choices.choose(SetChoice("dashboard.night", False), 90_001.0)
    assert store.read("dashboard.night", 90_002.0).value is False
    assert len(store.slots("dashboard.night")) == 1


def test_what_the_car_says_goes_before_what_was_chosen() -> None:
    store = Store(CATALOGUE)
    frame = store.slot("dashboard.night", "broadcast", Rank.BROADCAST, period_s=0.2)
    Choices(store, CATALOGUE).choose(SetChoice("dashboard.night", True), 0.0)
    assert store.read("dashboard.night", 1.0).value is True
    for at in (2.0, 2.2, 2.4, 2.6):
        frame.put(False, Quality.GOOD, at)
        store.read("dashboard.night", at)
    assert store.read("dashboard.night", 2.6).value is False


def test_a_choice_is_no_evidence_for_the_ignition() -> None:
    store = Store(CATALOGUE)
    Choices(store, CATALOGUE).choose(SetChoice("vehicle.ignition", "ON"), 0.0)
    (slot,) = store.slots("vehicle.ignition")
    assert slot.rank not in HEARD


@pytest.mark.parametrize(
    ("choice", "says"),
    [
        (SetChoice("dashboard.nigth", True), "no signal 'dashboard.nigth' is declared"),
        (SetChoice("dashboard.night", "dark"), "is a switch, True or False; found 'dark'"),
        (SetChoice("vehicle.ignition", "RUN"), "is one of LOCK, OFF, ACC, ON, START; found 'RUN'"),
        (SetChoice("engine.speed", "fast"), "only switches and choices can be chosen"),
    ],
)
def test_what_cannot_be_chosen_is_said_and_changes_nothing(choice: SetChoice, says: str) -> None:
    store = Store(CATALOGUE)
    assert says in Choices(store, CATALOGUE).choose(choice, 0.0)
    assert store.names() == []
