"""What the plug-in promises, tried without a car, a panel or waiting."""

from __future__ import annotations

import pytest

from underdash import BusDescription, CarDescription, GestureKind, Result, ShowPage, UnderdashError
from underdash.testing import FakeBus, brought, draw, load_plugin, perform, run_derived, snapshot
from underdash_template import COMPRESSOR, EFFICIENCY

CAR = CarDescription("car", "A car", (BusDescription("drive", 500_000),))
CHARGE, OUTSIDE = "engine.charge_temperature", "ambient.temperature"


def test_it_is_taken_with_its_settings_and_without() -> None:
    assert load_plugin("underdash_template").settings.caution_below == 40.0
    assert load_plugin("underdash_template", {"caution_below": 55}).settings.caution_below == 55.0
    with pytest.raises(UnderdashError, match="caution_below"):
        load_plugin("underdash_template", {"caution_below": 140})


def test_the_compressors_temperature_is_read_off_its_frame() -> None:
    plugin = load_plugin("underdash_template")
    with FakeBus(brought(plugin, "broadcast_listeners", car=CAR), signals=brought(plugin, "signals")) as bus:
        bus.send("drive", 0x3A6, bytes([0, 0, 0, 120, 0, 0, 0, 0]))
        assert bus.reading(COMPRESSOR).value == 140.0
        bus.send("drive", 0x3A6, bytes([0, 0, 0, 0xFF, 0, 0, 0, 0]))
        assert bus.reading(COMPRESSOR).value == 140.0
        bus.clock.advance(5.0)
        assert bus.reading(COMPRESSOR).value is None


def test_a_car_without_that_bus_gets_no_listener() -> None:
    assert brought(load_plugin("underdash_template"), "broadcast_listeners") == []


def test_the_share_of_heat_taken_out() -> None:
    plugin = load_plugin("underdash_template")
    (derived,) = brought(plugin, "derived_signals")
    series = [
        (0.0, {COMPRESSOR: 120.0, CHARGE: 45.0, OUTSIDE: 20.0}),
        (1.0, {COMPRESSOR: 30.0}),
        (2.0, {COMPRESSOR: 120.0, CHARGE: None}),
    ]
    assert run_derived(derived, series, signals=brought(plugin, "signals")) == [Result(75.0), None, None]


def test_the_page_follows_the_value_and_says_what_is_missing() -> None:
    plugin = load_plugin("underdash_template")
    (page,) = brought(plugin, "display_pages")
    own = brought(plugin, "signals")
    pictures = {
        draw(page, snapshot(values, signals=own)).tobytes()
        for values in ({EFFICIENCY: 75.0, OUTSIDE: 20.0}, {EFFICIENCY: 30.0, OUTSIDE: 20.0}, {EFFICIENCY: None})
    }
    assert len(pictures) == 3


def test_the_page_looks_the_same_in_whatever_unit_the_owner_reads_temperatures() -> None:
    plugin = load_plugin("underdash_template")
    (page,) = brought(plugin, "display_pages")
    own = brought(plugin, "signals")
    history = {COMPRESSOR: tuple((100.0 - ago, 60.0 + ago) for ago in range(100))}
    values = {EFFICIENCY: 75.0, OUTSIDE: 20.0}
    pictures = [
        draw(page, snapshot(values, signals=own, histories=kept, units={"degC": unit})).tobytes()
        for kept, unit in ((history, "degC"), (history, "degF"), ({}, "degC"))
    ]
    assert pictures[0] == pictures[1]
    assert pictures[0] != pictures[2]


def test_holding_the_button_shows_the_page_and_no_button_binds_nothing() -> None:
    handlers = brought(load_plugin("underdash_template", {"button": "source"}), "button_handlers")
    assert perform(handlers, "source", GestureKind.HOLD) == (ShowPage("template"),)
    assert perform(handlers, "source", GestureKind.PRESS) == ()
    assert brought(load_plugin("underdash_template"), "button_handlers") == []


def test_the_alert_follows_the_settings() -> None:
    (alert,) = brought(load_plugin("underdash_template", {"caution_below": 50.0}), "alerts")
    assert (alert.signal, alert.below) == (EFFICIENCY, 50.0)
