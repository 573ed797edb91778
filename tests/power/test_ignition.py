from __future__ import annotations

import pytest

from underdash.contract.cars import IgnitionEvidence
from underdash.contract.signals import Value
from underdash.power.ignition import Ignition, IgnitionOptions, Position, Seen

KEY = IgnitionEvidence("vehicle.ignition", on=("ON",), off=("LOCK", "OFF"), start=("START",), lifetime_s=1.0)
TURNING = IgnitionEvidence("engine.speed", above=400.0, lifetime_s=0.5)
WIRE = IgnitionEvidence("input.ignition", on=("true",), off=("false",), lifetime_s=3.0)
ON_CHANGE = IgnitionEvidence("vehicle.ignition", ("ON",), ("OFF",), lifetime_s=1.0, alive_with=("comfort", 0x100))


def proven(ignition: Ignition) -> bool:
    return ignition.seen_both


def position(ignition: Ignition, now: float) -> Position:
    return ignition.state(now).position


# (seconds, signal, value or None for silence, position expected then, sending expected then)
JOURNEY: list[tuple[float, Value | None, Position, bool]] = [
    (0.0, None, Position.UNKNOWN, False),
    (0.1, "LOCK", Position.OFF, False),
    (1.0, "OFF", Position.OFF, False),
    (1.5, "ACC", Position.UNKNOWN, False),
    (2.0, "ON", Position.ON, True),
    (2.9, "ON", Position.ON, True),
    (3.5, "START", Position.START, False),
    (4.2, "START", Position.START, False),
    (4.3, "ON", Position.ON, False),
    (5.2, "ON", Position.ON, False),
    (6.2, "ON", Position.ON, False),
    (6.301, "ON", Position.ON, True),
    (7.0, "OFF", Position.OFF, False),
    (7.5, None, Position.OFF, False),
    (8.001, None, Position.UNKNOWN, False),
    (60.0, "ON", Position.ON, True),
]


def test_lock_off_acc_on_start_on_off_with_times() -> None:
    ignition = Ignition([KEY])
    seen = []
    for at, value, *_ in JOURNEY:
        if value is not None:
            ignition.sample("vehicle.ignition", value, at)
        state = ignition.state(at)
        seen.append((at, value, state.position, state.may_send))

    assert seen == JOURNEY


def test_off_shuts_sending_with_the_sample_itself() -> None:
    ignition = Ignition([KEY])
    ignition.sample("vehicle.ignition", "ON", 0.0)
    ignition.sample("vehicle.ignition", "OFF", 0.02)

    assert not ignition.state(0.02).may_send


def test_a_sample_counts_for_its_lifetime_and_the_state_says_until_when() -> None:
    ignition = Ignition([KEY])
    ignition.sample("vehicle.ignition", "ON", 10.0)

    assert ignition.state(10.5).until == 11.0
    assert ignition.state(11.0).may_send
    assert not ignition.state(11.01).may_send


@pytest.mark.parametrize(
    ("key", "turning", "expected"),
    [
        ("ON", 800.0, Position.ON),
        ("ON", 0.0, Position.ON),
        ("OFF", 800.0, Position.OFF),
        ("ACC", 800.0, Position.ON),
        (None, 800.0, Position.ON),
        (None, 399.0, Position.UNKNOWN),
        ("START", 200.0, Position.START),
        ("START", 800.0, Position.START),
        (None, None, Position.UNKNOWN),
    ],
)
def test_on_is_one_fresh_on_and_no_fresh_off(key: str | None, turning: float | None, expected: Position) -> None:
    ignition = Ignition([KEY, TURNING])
    if key is not None:
        ignition.sample("vehicle.ignition", key, 0.0)
    if turning is not None:
        ignition.sample("engine.speed", turning, 0.0)

    assert position(ignition, 0.0) is expected


def test_a_wire_that_drops_while_cranking_does_not_outrank_start() -> None:
    ignition = Ignition([KEY, WIRE])
    ignition.sample("vehicle.ignition", "START", 0.0)
    ignition.sample("input.ignition", False, 0.0)

    assert position(ignition, 0.0) is Position.START


@pytest.mark.parametrize("value", [True, "on", "ON", 1.0])
def test_values_are_spelt_the_way_people_write_them(value: Value) -> None:
    evidence = IgnitionEvidence("x", on=("true",) if value is True else ("on", "1"))
    ignition = Ignition([evidence])
    ignition.sample("x", value, 0.0)

    assert position(ignition, 0.0) is Position.ON


def test_the_two_seconds_after_start_count_from_the_first_on_even_if_the_frames_pause() -> None:
    ignition = Ignition([KEY])
    ignition.sample("vehicle.ignition", "START", 0.0)
    assert position(ignition, 1.5) is Position.UNKNOWN
    ignition.sample("vehicle.ignition", "ON", 1.6)
    ignition.sample("vehicle.ignition", "ON", 2.6)
    ignition.sample("vehicle.ignition", "ON", 3.5)

    assert not ignition.state(3.59).may_send
    assert ignition.state(3.6).may_send


def test_a_start_that_ended_in_off_does_not_delay_the_next_journey() -> None:
    ignition = Ignition([KEY])
    for at, value in ((0.0, "START"), (1.0, "OFF"), (2.0, "ON")):
        ignition.sample("vehicle.ignition", value, at)

    assert ignition.state(2.0).may_send


# --- sent on change -----------------------------------------------------------------------------------------------


def test_a_signal_sent_on_change_lives_with_another_frame() -> None:
    ignition = Ignition([ON_CHANGE])
    ignition.sample("vehicle.ignition", "ON", 0.0)
    for tenth in range(1, 100):
        ignition.alive("comfort", 0x100, tenth / 10)

    assert position(ignition, 10.8) is Position.ON
    assert position(ignition, 10.91) is Position.UNKNOWN


def test_another_frame_does_not_keep_it_alive() -> None:
    ignition = Ignition([ON_CHANGE])
    ignition.sample("vehicle.ignition", "ON", 0.0)
    ignition.alive("drive", 0x100, 0.9)
    ignition.alive("comfort", 0x101, 0.9)

    assert position(ignition, 1.1) is Position.UNKNOWN


def test_a_value_that_ran_out_is_not_revived() -> None:
    # the bus slept and woke: whether the key is still on is not known until the signal itself comes
    ignition = Ignition([ON_CHANGE])
    ignition.sample("vehicle.ignition", "ON", 0.0)
    ignition.alive("comfort", 0x100, 60.0)

    assert position(ignition, 60.0) is Position.UNKNOWN


# --- a person's word ----------------------------------------------------------------------------------------------


def vouched(until: float, silent_from: float = 1e9) -> Ignition:
    ignition = Ignition([KEY])
    ignition.vouch(0.0)
    for second in range(int(min(until, silent_from)) + 1):
        ignition.heard(float(second))
    return ignition


def test_a_person_vouches_for_ten_minutes() -> None:
    ignition = vouched(700)

    assert ignition.state(600.0).may_send
    assert ignition.state(600.0).attended
    assert not ignition.state(600.1).may_send


def test_a_persons_word_ends_with_bus_silence_and_does_not_come_back() -> None:
    ignition = vouched(100, silent_from=50)
    assert ignition.state(55.0).may_send
    assert not ignition.state(55.1).may_send

    ignition.heard(56.0)
    assert not ignition.state(56.0).may_send


def test_evidence_for_off_outranks_a_persons_word_for_good() -> None:
    ignition = vouched(10)
    ignition.sample("vehicle.ignition", "OFF", 1.0)
    assert position(ignition, 1.0) is Position.OFF

    assert position(ignition, 2.5) is Position.UNKNOWN


def test_a_persons_word_can_be_taken_back() -> None:
    ignition = vouched(10)
    ignition.end_vouching()

    assert not ignition.state(1.0).may_send


# --- what was seen ------------------------------------------------------------------------------------------------


def test_the_field_counts_as_proven_once_seen_on_and_off_while_a_bus_was_awake() -> None:
    ignition = Ignition([KEY])
    ignition.heard(0.0)
    ignition.sample("vehicle.ignition", "ON", 0.0)
    assert not proven(ignition)
    assert "vehicle.ignition not on" in ignition.unseen_text()

    ignition.heard(10.0)
    ignition.sample("vehicle.ignition", "OFF", 10.0)
    assert proven(ignition)
    assert ignition.unseen_text() == ""


def test_what_is_seen_while_the_bus_sleeps_does_not_count() -> None:
    ignition = Ignition([WIRE])
    ignition.sample("input.ignition", True, 0.0)
    ignition.sample("input.ignition", False, 1.0)

    assert not ignition.seen_both


def test_a_value_that_is_neither_on_nor_off_proves_nothing() -> None:
    ignition = Ignition([KEY])
    ignition.heard(0.0)
    for value in ("ON", "ACC", "START"):
        ignition.sample("vehicle.ignition", value, 0.0)

    assert not ignition.seen_both


def test_a_wrongly_described_field_that_is_always_on_is_never_proven() -> None:
    ignition = Ignition([KEY, TURNING])
    for second in range(1000):
        ignition.heard(float(second))
        ignition.sample("vehicle.ignition", "ON" if second % 2 else "OFF", float(second))
        ignition.sample("engine.speed", 900.0, float(second))

    assert not ignition.seen_both
    assert "engine.speed not on" in ignition.unseen_text()


def test_what_was_seen_is_kept_over_journeys() -> None:
    ignition = Ignition([KEY])
    ignition.heard(0.0)
    ignition.sample("vehicle.ignition", "ON", 0.0)
    later = Ignition([KEY])
    later.restore(ignition.seen())
    later.restore({"vehicle.ignition": Seen(off=True), "unknown": Seen()})

    assert later.seen_both


def test_no_evidence_is_said_with_the_remedy() -> None:
    ignition = Ignition([])

    assert not ignition.seen_both
    assert "[[ignition]]" in ignition.state(0.0).why
    assert "[[ignition]]" in ignition.unseen_text()


def test_talking_ends_with_the_silence_time() -> None:
    ignition = Ignition([], IgnitionOptions(silence_s=2.0))
    assert not ignition.talking(0.0)
    ignition.heard(1.0)

    assert ignition.talking(3.0)
    assert not ignition.talking(3.1)


# --- after this program stood still -----------------------------------------------------------------------------


def test_what_waited_while_the_program_stood_still_does_not_say_on() -> None:
    ignition = Ignition([KEY, TURNING])
    ignition.sample("vehicle.ignition", "ON", 0.0)
    ignition.stood_still(30.0)
    for at in (30.0, 30.001, 30.2):
        ignition.sample("vehicle.ignition", "ON", at)
        ignition.sample("engine.speed", 900.0, at)
        assert not ignition.state(at).may_send
    assert position(ignition, 30.5) is Position.UNKNOWN
    ignition.sample("vehicle.ignition", "ON", 30.6)
    assert ignition.state(30.6).may_send


@pytest.mark.parametrize("word", ["OFF", "START"])
def test_off_and_start_count_however_long_they_waited(word: str) -> None:
    ignition = Ignition([KEY])
    ignition.sample("vehicle.ignition", "ON", 0.0)
    ignition.stood_still(1.0)
    ignition.sample("vehicle.ignition", word, 1.0)
    ignition.sample("vehicle.ignition", "ON", 1.001)
    state = ignition.state(1.002)
    assert not state.may_send
    assert state.position is Position.UNKNOWN


def test_a_signal_sent_on_change_outlives_a_short_halt_and_no_long_one() -> None:
    for still_s, expected in ((0.4, True), (0.9, False)):
        ignition = Ignition([ON_CHANGE])
        ignition.sample("vehicle.ignition", "ON", 0.0)
        ignition.stood_still(still_s)
        ignition.alive("comfort", 0x100, still_s)
        assert not ignition.state(still_s).may_send
        ignition.alive("comfort", 0x100, still_s + 0.55)
        assert ignition.state(still_s + 0.55).may_send is expected


def test_stale_frames_prove_nothing_about_the_field() -> None:
    ignition = Ignition([KEY])
    ignition.heard(10.0)
    ignition.stood_still(10.0)
    ignition.sample("vehicle.ignition", "ON", 10.0)
    assert ignition.seen()["vehicle.ignition"] == Seen()
