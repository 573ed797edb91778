from __future__ import annotations

import pytest

from underdash import Page, Role, Scale, UnderdashError
from underdash.testing import brought, draw, load_plugin, snapshot
from underdash_values.labels import label as label_of
from underdash_values.page import role_of, scale_for
from underdash_values.settings import Value, ValuesPage

OIL = Value(signal="engine.oil_pressure", low=0.0, high=700.0, warning_below=80.0, caution_below=150.0)


def pages(**tables: object) -> list[Page]:
    return brought(load_plugin("underdash_values", {"pages": tables}), "display_pages")


def test_a_page_by_its_configured_name() -> None:
    values = [{"signal": "engine.speed"}, {"signal": "vehicle.speed", "label": "speed"}]
    (page,) = pages(drive={"values": values, "title": "drive", "period_s": 0.5})
    assert (page.name, page.title, page.needs, page.period_s) == (
        "drive",
        "drive",
        ("engine.speed", "vehicle.speed"),
        0.5,
    )
    assert page.histories == ()


def test_nothing_configured_is_no_page() -> None:
    assert pages() == []


@pytest.mark.parametrize(
    ("signal", "label"),
    [
        ("gearbox.gear", "gear"),
        ("engine.charge_temperature", "charge air"),
        ("engine.coolant_temperature", "coolant"),
        ("gearbox.oil_temperature", "gearbox oil"),
        ("traction_battery.temperature", "traction"),
        ("traction_battery.temperature_highest", "traction highest"),
        ("low_voltage_battery.voltage", "battery"),
        ("vehicle.speed", "speed"),
        ("vehicle.wheel_speed_rear_left", "wheel speed rear left"),
        ("engine.load", "load"),
        ("fuel.level", "fuel level"),
    ],
)
def test_labels_made_from_names(signal: str, label: str) -> None:
    assert label_of(signal) == label


def test_labels_of_one_page_differ_and_the_owners_own_go_before() -> None:
    oil = (Value(signal="engine.oil_temperature"), Value(signal="engine.oil_pressure"))
    assert ValuesPage(values=oil).labels == ["oil temp.", "oil press."]
    battery = (Value(signal="low_voltage_battery.voltage"), Value(signal="low_voltage_battery.current"))
    assert ValuesPage(values=battery).labels == ["battery voltage", "battery current"]
    own = Value(signal="vehicle.speed", label="pace")
    assert ValuesPage(values=(own, Value(signal="engine.speed"))).labels == ["pace", "engine"]


@pytest.mark.parametrize(
    ("kpa", "role"), [(79.9, Role.WARNING), (80.0, Role.CAUTION), (150.0, Role.INK), (None, Role.SOFT)]
)
def test_limits_below(kpa: float | None, role: Role) -> None:
    assert role_of(OIL, kpa) is role


@pytest.mark.parametrize(("kpa", "role"), [(219.0, Role.INK), (220.0, Role.CAUTION), (240.0, Role.WARNING)])
def test_limits_above(kpa: float, role: Role) -> None:
    assert role_of(Value(signal="engine.charge_pressure", caution=220.0, warning=240.0), kpa) is role


def test_scale_is_in_the_unit_the_owner_sees() -> None:
    seen = snapshot({OIL.signal: 390.0}, units={"kPa": "bar"})
    scale = scale_for(OIL, seen)
    assert scale is not None
    assert (scale.low, scale.high, scale.zero) == pytest.approx((0.0, 7.0, 0.0))
    assert [zone.role for zone in scale.zones] == [Role.WARNING, Role.CAUTION]
    assert [(zone.low, zone.high) for zone in scale.zones] == [pytest.approx((0.0, 0.8)), pytest.approx((0.8, 1.5))]


def test_scale_without_zero_begins_at_its_low_end() -> None:
    scale = scale_for(
        Value(signal="engine.charge_pressure", low=80.0, high=260.0), snapshot({"engine.charge_pressure": 99.0})
    )
    assert scale == Scale(80.0, 260.0, 80.0)


def test_a_signal_nobody_provides_is_named() -> None:
    (page,) = pages(g={"values": [{"signal": "engine.coolant_temperature"}, {"signal": "fuel.ethanol"}]})
    there = draw(page, snapshot({"engine.coolant_temperature": 90.0, "fuel.ethanol": None}))
    lacking = draw(page, snapshot({"engine.coolant_temperature": 90.0}))
    assert there.tobytes() != lacking.tobytes()


@pytest.mark.parametrize(
    ("page", "said"),
    [
        ({"values": []}, "one to four"),
        ({"values": [{"signal": "engine.speed"}] * 2}, "each signal once"),
        ({"values": [{"signal": s} for s in "abcde"]}, "one to four"),
        ({"values": [{"signal": "engine.speed", "low": 0}]}, "both `low` and `high`"),
        ({"values": [{"signal": "engine.speed", "caution": 5, "warning": 4}]}, "rising order"),
    ],
)
def test_pages_that_make_no_sense(page: dict[str, object], said: str) -> None:
    with pytest.raises(UnderdashError, match=said):
        load_plugin("underdash_values", {"pages": {"p": page}})
