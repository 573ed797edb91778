"""The drives show what they are meant to show."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import pytest

from underdash.simulator.driver import length_s
from underdash.simulator.scripts import LORIS_DRIVE, TARN_DRIVE

if TYPE_CHECKING:
    from .conftest import Drive


def test_it_takes_thirty_to_thirty_five_minutes() -> None:
    assert 30 * 60 <= length_s(TARN_DRIVE) <= 35 * 60


def test_the_key_goes_through_all_positions_and_back(tarn_drive: Drive) -> None:
    positions = [key for key, _ in groupby(values["vehicle.ignition"] for _, _, values in tarn_drive.samples)]
    assert positions == ["LOCK", "OFF", "ACC", "ON", "START", "ON", "OFF", "LOCK"]


def test_the_engine_rests_with_ignition_on_at_sea_level_before_the_start(tarn_drive: Drive) -> None:
    at_rest = [
        at
        for at, _, values in tarn_drive.samples
        if values["vehicle.ignition"] == "ON" and values["engine.speed"] == 0.0 and at < 60.0
    ]
    assert at_rest[-1] - at_rest[0] > 6.0


def test_it_starts_cold_and_the_battery_dips(tarn_drive: Drive) -> None:
    assert tarn_drive.numbers("engine.coolant_temperature")[0] < 20.0
    assert min(tarn_drive.numbers("low_voltage_battery.voltage", "starter")) < 11.0
    assert max(tarn_drive.numbers("low_voltage_battery.voltage", "cold idle")) > 14.0


def test_pulling_hard_gives_about_1_2_bar_of_boost(tarn_drive: Drive) -> None:
    assert max(tarn_drive.numbers("engine.boost_pressure", "pull hard")) == pytest.approx(119.0, abs=5.0)
    idle = tarn_drive.numbers("engine.boost_pressure", "cold idle")
    assert min(idle) < -60.0


def test_the_pull_on_the_climb_comes_when_the_reference_is_stale(tarn_drive: Drive) -> None:
    rested = max(
        at for at, _, values in tarn_drive.samples
        if values["engine.speed"] == 0.0 and values["vehicle.ignition"] == "ON" and at < 60.0
    )  # fmt: skip
    pull = [at for at, what, _ in tarn_drive.samples if what == "pull hard on the climb"]
    assert pull[0] - rested > 20 * 60
    assert max(tarn_drive.numbers("engine.boost_pressure", "pull hard on the climb")) > 90.0
    assert tarn_drive.numbers("ambient.pressure", "pull hard on the climb")[0] < 90.0


def test_it_reaches_1500_m(tarn_drive: Drive) -> None:
    assert tarn_drive.numbers("ambient.altitude", "idle at the top")[-1] == pytest.approx(1500.0, abs=1.0)
    assert tarn_drive.numbers("ambient.pressure", "idle at the top")[-1] == pytest.approx(84.556, abs=0.03)


def test_the_reference_is_renewed_at_the_top(tarn_drive: Drive) -> None:
    rest = [
        (at, values)
        for at, what, values in tarn_drive.samples
        if what == "engine stopped, ignition on" and values["engine.speed"] == 0.0
    ]
    assert rest[-1][0] - rest[0][0] > 4.0
    assert float(rest[-1][1]["engine.manifold_pressure"]) == pytest.approx(84.556, abs=0.1)
    assert {values["vehicle.ignition"] for _, values in rest} == {"ON"}


def test_the_gearbox_gets_hot_under_the_caravan(tarn_drive: Drive) -> None:
    assert 95.0 < max(tarn_drive.numbers("gearbox.oil_temperature")) < 125.0


def test_the_menu_button_is_pressed_and_held(tarn_drive: Drive) -> None:
    lasting = [press.for_s for phase in TARN_DRIVE for press in phase.presses if press.button == "menu"]
    assert min(lasting) < 0.5
    assert max(lasting) > 1.2
    down = [what for _, what, values in tarn_drive.samples if "button.menu" in values]
    assert {"cruise", "cruise in the dark", "climb"} <= set(down)


def test_the_lights_come_on_and_the_knob_is_turned_at_dusk(tarn_drive: Drive) -> None:
    nights = [bool(values["dashboard.night"]) for _, _, values in tarn_drive.samples]
    assert [key for key, _ in groupby(nights)] == [False, True, False]
    assert len(set(tarn_drive.numbers("dashboard.brightness"))) >= 3


def test_it_stands_still_at_the_end(tarn_drive: Drive, loris_drive: Drive) -> None:
    for drive in (tarn_drive, loris_drive):
        assert drive.numbers("vehicle.speed")[-1] == 0.0
        assert drive.numbers("engine.speed")[-1] == 0.0


def test_the_hybrid_is_ready_between_start_and_off_only(loris_drive: Drive) -> None:
    ready = [bool(values["powertrain.ready"]) for _, _, values in loris_drive.samples]
    assert [key for key, _ in groupby(ready)] == [False, True, False]
    assert all(phase.ignition != "OFF" or phase.what == "off" for phase in LORIS_DRIVE)


def test_every_true_value_is_in_the_catalogue_and_plausible(tarn_drive: Drive, loris_drive: Drive) -> None:
    from underdash.signals.catalogue import CATALOGUE

    for drive in (tarn_drive, loris_drive):
        for _, _, values in drive.samples[::20]:
            for name, value in values.items():
                signal = CATALOGUE[name]
                if isinstance(value, float):
                    assert signal.low is None or signal.low <= value, name
                    assert signal.high is None or value <= signal.high, name
