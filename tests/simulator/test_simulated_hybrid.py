from __future__ import annotations

from typing import TYPE_CHECKING

from underdash.simulator.hybrid import PowerSplit, TractionBattery

if TYPE_CHECKING:
    from .conftest import Drive


def test_taking_power_lowers_charge_and_voltage_and_warms_the_battery() -> None:
    battery = TractionBattery(15.0)
    rest = battery.voltage_v
    for _ in range(1200):
        battery.step(-18.0, 20.0, 0.05)
    assert battery.current_a < -50.0
    assert battery.voltage_v < rest
    assert battery.charge_percent < 58.0
    assert battery.temperature_degc > 15.0


def test_the_engine_joins_in_for_power_speed_low_charge_or_cold_and_leaves_later() -> None:
    for asked_kw, speed_kmh, charge, coolant in ((15, 40, 60, 90), (3, 80, 60, 90), (3, 40, 38, 90), (3, 40, 60, 10)):
        split = PowerSplit()
        for _ in range(200):
            split.step(asked_kw, speed_kmh, charge, coolant, 0.05)
        assert split.engine_on
    for _ in range(200):
        split.step(2.0, 40.0, 60.0, 90.0, 0.05)
    assert not split.engine_on


def test_it_does_not_start_and_stop_in_quick_turns() -> None:
    split, changes, before = PowerSplit(), 0, False
    for step in range(1200):
        split.step(20.0 if step // 10 % 2 else 0.0, 30.0, 60.0, 90.0, 0.05)
        changes += split.engine_on is not before
        before = split.engine_on
    assert changes <= 10


def test_it_drives_without_its_engine_and_is_still_ready(loris_drive: Drive) -> None:
    quiet = [
        values
        for _, _, values in loris_drive.samples
        if values["powertrain.ready"] and float(values["vehicle.speed"]) > 20.0 and values["engine.speed"] == 0.0
    ]
    assert len(quiet) > 100


def test_charge_stays_in_its_band_and_rises_downhill(loris_drive: Drive) -> None:
    charge = loris_drive.numbers("traction_battery.charge")
    down = loris_drive.numbers("traction_battery.charge", "down the hill")
    assert min(charge) > 40.0
    assert max(charge) < 85.0
    assert down[-1] > down[0] + 3.0
    assert max(loris_drive.numbers("traction_battery.current", "down the hill")) > 10.0
    assert min(loris_drive.numbers("traction_battery.current", "pull hard")) < -60.0
