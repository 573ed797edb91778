from __future__ import annotations

from random import Random

from underdash.simulator.battery import LowVoltageBattery
from underdash.simulator.engine import Turning


def volts(battery: LowVoltageBattery, ignition: str, turning: Turning, seconds: float, lights: bool = False) -> float:
    for _ in range(round(seconds * 20)):
        battery.step(ignition, turning, lights, 10.0, 0.05)
    return battery.voltage_v


def test_it_rests_dips_while_cranking_and_is_charged_afterwards() -> None:
    battery = LowVoltageBattery(Random(1))
    assert 12.5 < volts(battery, "LOCK", Turning.STOPPED, 5.0) < 12.7
    on = volts(battery, "ON", Turning.STOPPED, 10.0)
    assert 12.0 < on < 12.4
    dip = volts(battery, "START", Turning.CRANKING, 0.15)
    assert 9.0 < dip < 10.5
    assert dip < volts(battery, "START", Turning.CRANKING, 0.6) < 11.5
    assert 14.2 < volts(battery, "ON", Turning.RUNNING, 10.0) < 14.7


def test_lights_cost_a_little() -> None:
    battery = LowVoltageBattery(Random(1))
    dark = volts(battery, "ON", Turning.RUNNING, 10.0)
    assert 0.05 < dark - volts(battery, "ON", Turning.RUNNING, 10.0, lights=True) < 0.3
