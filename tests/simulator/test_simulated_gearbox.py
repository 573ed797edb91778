from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from random import Random

from underdash.simulator.driver import Driver, Phase
from underdash.simulator.gearbox import Gearbox, GearboxDesign
from underdash.simulator.turbo_car import TurboDesign


def test_it_shifts_up_with_speed_one_gear_at_a_time_and_never_hunts() -> None:
    subject, seen = Gearbox(GearboxDesign(), 10.0), []
    for step in range(2400):
        subject.choose(step / 20, 0.3, True, 0.05)
        seen.append(subject.gear)
    changes = [b - a for a, b in pairwise(seen) if a != b]
    assert seen[0] == 1
    assert seen[-1] == 6
    assert set(changes) == {1}


def test_a_pressed_pedal_takes_a_lower_gear() -> None:
    subject = Gearbox(GearboxDesign(), 10.0)
    for pedal in (0.2, 0.95):
        for _ in range(400):
            subject.choose(70.0, pedal, True, 0.05)
        if pedal < 0.5:
            light = subject.gear
    assert subject.gear < light


def test_no_gear_while_standing_parked() -> None:
    subject = Gearbox(GearboxDesign(), 10.0)
    subject.choose(0.0, 0.0, False, 0.05)
    assert subject.gear == 0
    assert subject.coupled_rpm(0.0, 0.0, 800.0) == 0.0
    assert subject.force_n(100.0) == 0.0


def uphill_oil_degc(towing: bool) -> float:
    rng = Random(2)
    car = replace(TurboDesign(), towing=towing).model(rng)
    driver = Driver((Phase("start", 2, "START"), Phase("up", 900, speed_kmh=64, climb_to_m=1000)), rng)
    for step in range(20 * 902):
        car.step(driver.step(step / 20, car.speed_kmh, car.world.altitude_m, 0.05), 0.05)
    assert 58.0 < car.speed_kmh < 70.0
    return car.gearbox.oil_degc


def test_gearbox_oil_gets_warmer_with_a_caravan() -> None:
    alone, towing = uphill_oil_degc(False), uphill_oil_degc(True)
    assert alone + 5.0 < towing < 125.0
