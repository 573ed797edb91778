from __future__ import annotations

import pytest

from underdash import Alert, Derived, Quality, Result, Role, Snapshot, UnderdashError, Value
from underdash.testing import brought, load_plugin, run_derived, snapshot
from underdash_battery.page import CHARGE, battery_page, doubt, state
from underdash_battery.rest import ENGINE_SPEED, VOLTAGE, charge
from underdash_battery.settings import FLOODED, Settings


def seen(volts: float | None, rpm: float | None = None) -> Snapshot:
    values: dict[str, Value | None] = {VOLTAGE: volts, ENGINE_SPEED: rpm}
    return snapshot(values)


def derived() -> tuple[Derived, list[object]]:
    plugin = load_plugin("underdash_battery")
    return brought(plugin, "derived_signals")[0], brought(plugin, "signals")


def results(*series: tuple[float, dict[str, Value | None]]) -> list[Result | None]:
    one, _ = derived()
    return run_derived(one, series)


@pytest.mark.parametrize(
    ("volts", "per_cent"), [(11.0, 0.0), (11.6, 0.0), (12.0, 25.0), (12.3, 62.5), (12.6, 100.0), (13.0, 100.0)]
)
def test_charge_between_the_points_of_the_table(volts: float, per_cent: float) -> None:
    assert charge(volts, FLOODED) == pytest.approx(per_cent)


def test_charge_is_assumed_until_the_rest_was_seen() -> None:
    first, later = results((0.0, {VOLTAGE: 12.4, ENGINE_SPEED: 0.0}), (7200.0, {}))
    assert first == Result(75.0, Quality.ASSUMED, (VOLTAGE,))
    assert later == Result(75.0, Quality.GOOD, (VOLTAGE,))


def test_no_charge_while_the_engine_runs_and_for_hours_after_it() -> None:
    series: list[tuple[float, dict[str, Value | None]]] = [
        (0.0, {VOLTAGE: 14.1, ENGINE_SPEED: 800.0}),
        (10.0, {VOLTAGE: 12.6}),
        (20.0, {ENGINE_SPEED: 0.0}),
        (7000.0, {}),
        (7220.0, {}),
    ]
    *before, after = results(*series)
    assert before == [None, None, None, None]
    assert after is not None
    assert after.quality is Quality.GOOD


def test_a_charger_counts_as_charging_without_an_engine_speed() -> None:
    assert results((0.0, {VOLTAGE: 13.8}), (10.0, {VOLTAGE: 12.7})) == [None, None]


def test_nothing_is_said_without_a_voltage() -> None:
    assert results((0.0, {ENGINE_SPEED: 0.0})) == [None]


@pytest.mark.parametrize(
    ("volts", "rpm", "words"),
    [(14.1, 800.0, "charging"), (12.5, 2000.0, "in use"), (12.5, 0.0, "resting"), (12.5, None, "resting")],
)
def test_state_in_words(volts: float, rpm: float | None, words: str) -> None:
    assert state(seen(volts, rpm), Settings()) == (words, Role.INK)


def test_what_is_doubtful_is_said() -> None:
    plugin = load_plugin("underdash_battery")
    declared = brought(plugin, "signals")

    def said(quality: Quality) -> str:
        return doubt(snapshot({VOLTAGE: 12.4, CHARGE: 75.0}, signals=declared, qualities={CHARGE: quality}))

    assert said(Quality.ASSUMED) == "if it has rested for hours"
    assert said(Quality.GOOD) == "charge is rough"
    assert doubt(seen(14.0, 800.0)) == ""
    assert doubt(snapshot({})) == "no source for voltage"


def test_page_needs_the_voltage_only() -> None:
    assert battery_page(Settings()).needs == (VOLTAGE,)


def test_alerts_are_longer_than_a_start_and_can_be_left_out() -> None:
    low, high = brought(load_plugin("underdash_battery"), "alerts")
    assert isinstance(low, Alert)
    assert (low.below, low.delay_s) == (11.8, 30.0)
    assert (high.above, high.role) == (15.1, Role.WARNING)
    assert brought(load_plugin("underdash_battery", {"alerts": False}), "alerts") == []


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"low": 13.5}, "rising order"),
        ({"rest": [[12.0, 0.0]]}, "at least two pairs"),
        ({"rest": [[12.6, 100.0], [11.6, 0.0]]}, "both numbers rising"),
        ({"rest": [[11.6, -5.0], [12.6, 100.0]]}, "from 0 to 100"),
        ({"rest_s": 1.0}, "rest_s"),
    ],
)
def test_settings_that_make_no_sense(settings: dict[str, object], said: str) -> None:
    with pytest.raises(UnderdashError, match=said):
        load_plugin("underdash_battery", settings)
