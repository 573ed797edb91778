"""What is known about the ignition, from the frame on the bus to the request that goes out or does not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from underdash.bus.frames import Frame
from underdash.bus.refusals import Reason
from underdash.power.ignition import Seen
from underdash.simulator.driver import Phase

Make = Callable[..., Any]
ON = (Phase("unlocked", 0.5, "LOCK", lights=False, knob=1.0, daylight=1.0), Phase("on", 60, "ON"))
KEY_ID = 0x0C4A1020


def without_the_key(journey: Any) -> None:
    """Take the frame that tells the key's position off the bus, and leave all others there."""
    simulated = journey.demo.simulated
    simulated._heap = [entry for entry in simulated._heap if getattr(entry[2], "id", 0) != KEY_ID]


def test_unknown_is_not_off_it_ends_sending_and_keeps_awake(drive: Make) -> None:
    journey = drive(ON)
    journey.at(5.0, lambda: without_the_key(journey))
    journey.run(12)

    assert journey.requests(4.0, 5.0)
    assert not journey.requests(6.2)
    assert journey.demo.daemon.status().ignition.position == "unknown"
    assert [state for _, state in journey.demo.power] == ["awake"]


def test_evidence_counts_for_its_lifetime_and_not_longer(drive: Make) -> None:
    journey = drive(ON)
    journey.at(5.0, lambda: without_the_key(journey))
    journey.run(8)
    last = max(at for at, frame in journey.wire["comfort"] if frame.id == KEY_ID)

    sent = [at for at, _ in journey.requests()]
    assert last + 0.8 < max(sent) <= last + 1.0 + 0.001


def test_nothing_is_sent_before_the_field_was_seen_on_and_off(drive: Make) -> None:
    journey = drive((Phase("on", 6, "ON", lights=False, knob=1.0, daylight=1.0), *ON))

    def forget() -> None:
        for entry in journey.demo.daemon.key.ignition._entries:
            entry.seen = Seen()

    journey.at(0.0, forget)
    journey.run(6)

    assert not journey.requests()
    assert journey.demo.daemon.status().guard[Reason.IGNITION_UNSEEN] > 0
    assert any("seen both on and off" in sentence for sentence in journey.demo.daemon.status().closed)


def attended(journey: Any) -> None:
    """No evidence at all, but a person who vouches."""
    ignition = journey.demo.daemon.key.ignition
    ignition._entries.clear()
    ignition.vouch(journey.loop.time())


def test_a_persons_word_opens_for_ten_minutes(drive: Make) -> None:
    journey = drive((ON[0], Phase("on", 700, "ON")), every_s=5.0)
    journey.at(1.0, lambda: attended(journey))
    journey.run(640)

    assert journey.requests(590, 600)
    assert not journey.requests(601.1)


def test_a_persons_word_ends_with_the_silence_of_the_bus_though_our_own_requests_are_heard(drive: Make) -> None:
    journey = drive(ON)
    journey.at(1.0, lambda: attended(journey))

    def silent() -> None:
        journey.demo.station.stop()

    journey.at(6.0, silent)
    journey.run(20)

    assert journey.requests(5.0, 6.0)
    assert not journey.requests(11.3)
    assert not journey.demo.daemon.status().ignition.may_send


def test_a_plug_in_that_listens_for_the_ignition_is_no_evidence(
    drive: Make, tiny_plugin: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    from importlib.metadata import entry_points

    from underdash.loading import load
    from underdash.wiring import building

    source = """
@hookimpl
def broadcast_listeners(car):
    always = tuple((number, "ON") for number in range(256))
    return [BroadcastListener("drive", 0x08F1A210, (Field("vehicle.ignition", Bits(0), values=always),), True)]
"""
    points = [*entry_points(group="underdash"), tiny_plugin(source)]
    monkeypatch.setattr(building, "load", lambda enabled, **given: load(enabled, points, **given))
    accessory = Phase("accessory", 60, "ACC", lights=False, knob=1.0, daylight=1.0)
    journey = drive((accessory,), edit=lambda text: text.replace('"page_turn"]', '"page_turn", "tiny"]'))
    alive = Frame(0x08F1A210, bytes(8), True)
    for number in range(100):
        journey.at(2.0 + number * 0.02, lambda: journey.buses["drive"].inject(alive))
    journey.run(6)

    assert not journey.requests()
    assert any("only the car's description may say" in one for one in journey.demo.built.assembly.problems)
