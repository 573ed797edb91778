from __future__ import annotations

import pytest

from underdash import Result, Role, UnderdashError, Value
from underdash.testing import brought, draw, load_plugin, run_derived, snapshot
from underdash_traction_battery.page import (
    CHARGE,
    CHARGING,
    CURRENT,
    HIGHEST,
    HOTTEST,
    LOWEST,
    MEAN,
    POWER,
    SPREAD,
    VOLTAGE,
    temperature_role,
)
from underdash_traction_battery.settings import Settings

PLUGIN = load_plugin("underdash_traction_battery")
SIGNALS = brought(PLUGIN, "signals")
(PAGE,) = brought(PLUGIN, "display_pages")


def test_power_is_voltage_times_current() -> None:
    power, _ = brought(PLUGIN, "derived_signals")
    series: list[tuple[float, dict[str, Value | None]]] = [
        (0.0, {VOLTAGE: 220.0, CURRENT: -50.0}),
        (1.0, {CURRENT: None}),
        (2.0, {CURRENT: 20.0}),
    ]
    assert power.signal == POWER
    assert run_derived(power, series, signals=SIGNALS) == [Result(-11.0), None, Result(4.4)]


def test_spread_of_the_cells_from_their_ends() -> None:
    _, spread = brought(PLUGIN, "derived_signals")
    series: list[tuple[float, dict[str, Value | None]]] = [(0.0, {HIGHEST: 3.75, LOWEST: 3.5}), (1.0, {LOWEST: None})]
    assert spread.signal == SPREAD
    assert run_derived(spread, series) == [Result(250.0), None]


@pytest.mark.parametrize(
    ("celsius", "role"),
    [(None, Role.SOFT), (4.9, Role.SOFT), (5.0, Role.INK), (42.0, Role.CAUTION), (50.0, Role.WARNING)],
)
def test_temperatures_are_coloured(celsius: float | None, role: Role) -> None:
    assert temperature_role(celsius, Settings()) is role


def test_mean_stands_in_for_the_hottest_sensor() -> None:
    mean = draw(PAGE, snapshot({CHARGE: 50.0, MEAN: 30.0}))
    hottest = draw(PAGE, snapshot({CHARGE: 50.0, HOTTEST: 30.0}))
    both = draw(PAGE, snapshot({CHARGE: 50.0, HOTTEST: 30.0, MEAN: 20.0}))
    assert hottest.tobytes() == both.tobytes() != mean.tobytes()


def test_a_wide_spread_is_a_caution() -> None:
    narrow, wide = (draw(PAGE, snapshot({CHARGE: 50.0, SPREAD: mv})) for mv in (99.0, 100.0))
    assert _amber(wide) > _amber(narrow)


def test_the_title_says_that_it_is_being_charged() -> None:
    driving, charging = (draw(PAGE, snapshot({CHARGE: 50.0, CHARGING: plugged})) for plugged in (False, True))
    assert driving.tobytes() != charging.tobytes()


def test_alert_for_a_hot_battery() -> None:
    (alert,) = brought(load_plugin("underdash_traction_battery", {"hot": 48.0}), "alerts")
    assert (alert.signal, alert.above, alert.role) == (HOTTEST, 48.0, Role.WARNING)
    assert brought(load_plugin("underdash_traction_battery", {"alerts": False}), "alerts") == []


@pytest.mark.parametrize(
    ("settings", "said"), [({"low": 80.0, "high": 30.0}, "`low` below"), ({"warm": 60.0}, "`warm`")]
)
def test_settings_that_make_no_sense(settings: dict[str, object], said: str) -> None:
    with pytest.raises(UnderdashError, match=said):
        load_plugin("underdash_traction_battery", settings)


def _amber(image: object) -> int:
    colours = image.getcolors(1 << 16)  # type: ignore[attr-defined]
    return sum(count for count, (red, green, blue) in colours if red > 200 and 120 < green < 200 and blue < 90)
