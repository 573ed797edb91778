from __future__ import annotations

from itertools import product

import pytest

from underdash.bus.health import BusEvent, BusState, after, sentence


def walk(*events: BusEvent) -> BusState:
    state = BusState.ABSENT
    for event in events:
        state = after(state, event)
    return state


@pytest.mark.parametrize(
    ("events", "state"),
    [
        ((BusEvent.OPENED,), BusState.SILENT),
        ((BusEvent.OPENED, BusEvent.HEARD), BusState.LISTENING),
        ((BusEvent.OPENED, BusEvent.HEARD, BusEvent.QUIET), BusState.SILENT),
        ((BusEvent.OPENED, BusEvent.HEARD, BusEvent.SENT), BusState.SENDING),
        ((BusEvent.OPENED, BusEvent.HEARD, BusEvent.SENT, BusEvent.IDLE), BusState.LISTENING),
        ((BusEvent.OPENED, BusEvent.HEARD, BusEvent.FULL), BusState.BLOCKED),
        ((BusEvent.OPENED, BusEvent.HEARD, BusEvent.FULL, BusEvent.HEARD), BusState.BLOCKED),
        ((BusEvent.OPENED, BusEvent.FULL, BusEvent.SENT), BusState.SENDING),
        ((BusEvent.OPENED, BusEvent.CONTROLLER_OFF), BusState.BUS_OFF),
        ((BusEvent.OPENED, BusEvent.CONTROLLER_OFF, BusEvent.RESTARTED, BusEvent.HEARD), BusState.LISTENING),
    ],
)
def test_states_follow_what_happens(events: tuple[BusEvent, ...], state: BusState) -> None:
    assert walk(*events) is state


def test_a_failure_ends_every_state_and_nothing_but_opening_ends_absence() -> None:
    for state in BusState:
        assert after(state, BusEvent.FAILED) is BusState.ABSENT
    for event in set(BusEvent) - {BusEvent.OPENED}:
        assert after(BusState.ABSENT, event) is BusState.ABSENT


def test_every_state_can_meet_every_event_and_is_told_in_a_sentence() -> None:
    for state, event in product(BusState, BusEvent):
        assert sentence("drive", after(state, event)).startswith("drive")


def test_a_sentence_names_the_next_step() -> None:
    assert "check the bit rate" in sentence("drive", BusState.LISTENING, errors=12)
    assert "asleep" in sentence("drive", BusState.SILENT, quiet_s=12.4)
    assert "nothing for 12 s" in sentence("drive", BusState.SILENT, quiet_s=12.4)
    assert sentence("drive", BusState.ABSENT, failure="it is not there; plug it in").endswith("plug it in")
    assert "termination" in sentence("drive", BusState.BUS_OFF)
    assert "awake" in sentence("drive", BusState.BLOCKED)
    assert "hears no frame" in sentence("drive", BusState.SILENT, errors=3)
    assert "requests get out" in sentence("drive", BusState.SENDING)
