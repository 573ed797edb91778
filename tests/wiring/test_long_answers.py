"""What the invented car gives in several frames, wanted by a page: asked for with flow control, and true."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from underdash.contract.buttons import ShowPage
from underdash.simulator.driver import Phase
from underdash.wiring.reloading import Reloading

ON = (Phase("unlocked", 0.5, "LOCK", lights=False, knob=1.0, daylight=1.0), Phase("on", 60, "ON"))
SHOWN = ("gearbox.clutch_temperature", "axle.oil_temperature")
PAGE = f"\n[plugin.temperatures]\nsignals = {list(SHOWN)}\n"


def test_values_of_an_answer_in_several_frames_are_shown_while_a_page_wants_them(drive: Callable[..., Any]) -> None:
    journey = drive(ON, edit=lambda text: text + PAGE)
    journey.at(3, lambda: journey.demo.daemon.perform(ShowPage("temperatures")))
    journey.run(10)

    last = journey.seen[-1][1]
    true = journey.true[-1][1]
    for signal in SHOWN:
        assert last.reading(signal).value == pytest.approx(true[signal], abs=0.2)
    flow = [frame for _, frame in journey.requests() if frame.data[0] >> 4 == 3]
    assert flow
    assert {(frame.id, frame.data) for frame in flow} == {(0x18DA1DF1, bytes.fromhex("3000000000000000"))}
    counts = journey.demo.built.assembly.asking.counts
    assert (counts.missed, counts.dropped, counts.short) == (0, 0, 0)


def test_they_go_on_while_the_description_is_read_anew(drive: Callable[..., Any]) -> None:
    journey = drive(ON, edit=lambda text: text + PAGE)
    daemon = journey.demo.daemon
    journey.at(3, lambda: daemon.perform(ShowPage("temperatures")))
    for number in range(250):
        journey.at(6.0 + number * 0.0071, lambda: Reloading(journey.demo.built, journey.loop).reload())
    journey.run(9)

    counts = daemon.assembly.asking.counts
    assert (counts.missed, counts.dropped, counts.short) == (0, 0, 0)
    asked = [at for at, frame in journey.requests(6.0, 7.8) if frame.data[0] >> 4 == 3]
    assert asked, "no long answer was under way"
    last, true = journey.seen[-1][1], journey.true[-1][1]
    for signal in SHOWN:
        assert last.reading(signal).value == pytest.approx(true[signal], abs=0.2)
