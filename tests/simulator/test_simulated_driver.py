from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from underdash.contract.errors import UnderdashError
from underdash.simulator.driver import Driver, Phase, Press


def test_phases_follow_each_other_and_the_last_goes_on() -> None:
    driver = Driver((Phase("off", 1.0, "OFF"), Phase("on", 1.0, "ON")), Random(1))
    seen = [driver.step(step / 10, 0.0, 0.0, 0.1).ignition for step in range(50)]
    assert seen == ["OFF"] * 10 + ["ON"] * 40


def test_a_button_is_down_for_as_long_as_the_script_says() -> None:
    driver = Driver((Phase("hold", 5.0, presses=(Press("menu", 1.0, 1.5),)),), Random(1))
    down = [step / 20 for step in range(100) if "menu" in driver.step(step / 20, 0.0, 0.0, 0.05).pressed]
    assert down[0] == 1.0
    assert down[-1] == pytest.approx(2.45)


def test_lights_and_knob_stay_until_they_are_named_again() -> None:
    script = (Phase("a", 5.0, lights=True, knob=0.4), Phase("b", 5.0), Phase("c", 5.0, lights=False))
    driver, seen = Driver(script, Random(1)), []
    for step in range(300):
        controls = driver.step(step / 20, 0.0, 0.0, 0.05)
        if step % 100 == 99:
            seen.append((controls.lights, round(controls.knob, 6)))
    assert seen == [(True, 0.4), (True, 0.4), (False, 0.4)]


def test_the_knob_is_turned_and_does_not_jump() -> None:
    driver = Driver((Phase("dim", 5.0, knob=0.0),), Random(1))
    knob = [driver.step(step / 20, 0.0, 0.0, 0.05).knob for step in range(100)]
    assert all(0.0 <= a - b < 0.02 for a, b in pairwise(knob))
    assert knob[40] == pytest.approx(0.49, abs=0.02)
    assert knob[-1] == 0.0


def test_a_pull_ends_at_its_speed() -> None:
    driver = Driver((Phase("pull", 60.0, speed_kmh=90.0, pedal=0.97),), Random(1))
    for step in range(40):
        controls = driver.step(step / 20, 50.0, 0.0, 0.05)
    assert controls.pedal == pytest.approx(0.97, abs=0.01)
    for step in range(40, 120):
        controls = driver.step(step / 20, 100.0, 0.0, 0.05)
    assert controls.pedal < 0.2


def test_a_climb_is_spread_over_its_phase() -> None:
    driver, altitude = Driver((Phase("climb", 100.0, speed_kmh=50.0, climb_to_m=120.0),), Random(1)), 0.0
    for step in range(2000):
        altitude += driver.step(step / 20, 50.0, altitude, 0.05).climb_m_s * 0.05
        if step == 1000:
            assert altitude == pytest.approx(60.0, abs=1.0)
    assert altitude == pytest.approx(120.0, abs=1.0)


@pytest.mark.parametrize(
    ("script", "said"),
    [
        ((), "empty"),
        ((Phase("nothing", 0.0),), "must take more than 0"),
        ((Phase("odd", 1.0, "RUN"),), "allowed are LOCK, OFF, ACC, ON, START"),
    ],
)
def test_a_script_that_cannot_be_driven_is_named(script: tuple[Phase, ...], said: str) -> None:
    with pytest.raises(UnderdashError, match=said):
        Driver(script, Random(1))
