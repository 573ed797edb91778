from __future__ import annotations

from dataclasses import replace

import pytest

import underdash_temperatures
from underdash import (
    UNITS,
    Age,
    Bits,
    BroadcastListener,
    CarDescription,
    Field,
    Quality,
    Reading,
    Role,
    Scale,
    Snapshot,
    convert,
)
from underdash_temperatures.limits import KNOWN, limits_for, role_for
from underdash_temperatures.page import candidates
from underdash_temperatures.settings import Settings, Thresholds

GEARBOX, COOLANT = "gearbox.oil_temperature", "engine.coolant_temperature"
CHARGE, INTAKE, OIL = "engine.charge_temperature", "engine.intake_temperature", "engine.oil_temperature"
BATTERY = "traction_battery.temperature"


def car(*signals: str) -> CarDescription:
    fields = tuple(Field(signal, Bits(index)) for index, signal in enumerate(signals))
    return CarDescription("c", "C", (), broadcasts=(BroadcastListener("drive", 0x100, fields),))


TURBO = car(COOLANT, GEARBOX, CHARGE, INTAKE, OIL)
HYBRID = car(COOLANT, BATTERY)


class Canvas:
    """Keeps what the page put on it."""

    width = height = 240

    def __init__(self) -> None:
        self.name = self.said = ""
        self.main: Reading | None = None
        self.scale: Scale | None = None
        self.table: tuple[tuple[str, Reading, Role], ...] = ()

    def sweep(self, reading: Reading, scale: Scale, *, peak: float | None = None, average: float | None = None) -> None:
        self.scale = scale

    def figure(self, reading: Reading, *, signed: bool = False) -> None:
        self.main = reading

    def title(self, text: str) -> None:
        self.name = text

    def strip(self, points: tuple[tuple[float, float], ...], scale: Scale, *, seconds: float) -> None:
        raise AssertionError("temperatures move too slowly for a strip")

    def rows(self, rows: tuple[tuple[str, Reading, Role], ...]) -> None:
        self.table = rows

    def column(
        self, label: str, reading: Reading, scale: Scale, *, peak: float | None = None, average: float | None = None
    ) -> None:
        raise AssertionError("this page has no columns")

    def lamp(self, text: str, lit: Reading | bool | None, role: Role = Role.INK) -> None:
        raise AssertionError("this page has no lamps")

    def list(self, lines: tuple[tuple[str, Role], ...]) -> None:
        raise AssertionError("this page has no list")

    def sentence(self, text: str, role: Role = Role.INK) -> None:
        raise AssertionError("this page says no sentences")

    def remark(self, text: str, role: Role = Role.CAUTION) -> None:
        self.said = text


def snapshot(unit: str = "degC", **celsius: float | None) -> Snapshot:
    readings = {}
    for key, value in celsius.items():
        name = key.replace("__", ".")
        shown = None if value is None else convert(value, "degC", unit)
        age = Age.GONE if value is None else Age.FRESH
        readings[name] = Reading(name, value, shown, UNITS[unit].label, 0, age, 0.5, Quality.GOOD, "")
    return Snapshot(0.0, readings, units={"degC": unit})


def drawn(description: CarDescription, shown: Snapshot, settings: Settings | None = None) -> Canvas:
    (page,) = underdash_temperatures.display_pages(description, settings or Settings())
    canvas = Canvas()
    page.draw(canvas, shown)
    return canvas


def test_it_shows_what_the_car_provides_the_most_wanted_first() -> None:
    assert candidates(TURBO, Settings()) == (GEARBOX, OIL, COOLANT, CHARGE)
    assert candidates(HYBRID, Settings()) == (BATTERY, COOLANT)


def test_the_same_page_runs_on_a_hybrid() -> None:
    canvas = drawn(HYBRID, snapshot(traction_battery__temperature=31.0, engine__coolant_temperature=88.0))
    assert canvas.name == "battery"
    assert canvas.main is not None
    assert canvas.main.shown == 31.0
    assert [row[0] for row in canvas.table] == ["coolant"]


def test_where_the_description_has_none_it_shows_what_another_plugin_asks_for() -> None:
    canvas = drawn(car(), snapshot(engine__intake_temperature=25.0, engine__coolant_temperature=80.0))
    assert canvas.name == "coolant"
    assert [row[0] for row in canvas.table] == ["intake air"]


def test_the_owner_chooses_the_main_value_and_the_others() -> None:
    assert candidates(TURBO, Settings(main=INTAKE)) == (INTAKE, GEARBOX, OIL, COOLANT)
    chosen = Settings(main=COOLANT, signals=(CHARGE, COOLANT))
    assert candidates(TURBO, chosen) == (COOLANT, CHARGE)
    canvas = drawn(TURBO, snapshot(engine__coolant_temperature=90.0, engine__charge_temperature=40.0), chosen)
    assert canvas.name == "coolant"
    assert [row[0] for row in canvas.table] == ["charge air"]


def test_a_value_that_is_gone_keeps_its_place() -> None:
    canvas = drawn(TURBO, snapshot(gearbox__oil_temperature=None, engine__coolant_temperature=None))
    assert canvas.name == "gearbox oil"
    assert [(row[0], row[2]) for row in canvas.table] == [("coolant", Role.SOFT)]
    assert canvas.said == ""


def test_a_signal_that_nobody_provides_is_named() -> None:
    assert drawn(car(), snapshot()).said == "no source for gearbox oil"
    chosen = Settings(main=OIL)
    canvas = drawn(HYBRID, snapshot(engine__coolant_temperature=88.0), chosen)
    assert canvas.said == "no source for engine oil"
    assert [row[0] for row in canvas.table] == ["coolant"]


@pytest.mark.parametrize(
    ("celsius", "role"),
    [(20.0, Role.SOFT), (50.0, Role.INK), (115.0, Role.CAUTION), (140.0, Role.WARNING), (None, Role.SOFT)],
)
def test_cold_is_muted_and_hot_is_coloured(celsius: float | None, role: Role) -> None:
    assert role_for(celsius, limits_for(GEARBOX, {})) is role


def test_the_scale_is_converted_to_the_owners_unit() -> None:
    canvas = drawn(TURBO, snapshot("degF", gearbox__oil_temperature=104.0))
    assert canvas.scale is not None
    assert (canvas.scale.low, canvas.scale.high) == pytest.approx((-4.0, 302.0))
    assert [zone.role for zone in canvas.scale.zones] == [Role.SOFT, Role.CAUTION, Role.WARNING]
    assert canvas.scale.zones[1].low == pytest.approx(239.0)


def test_the_owners_limits_go_before_and_the_others_stay_where_they_fit() -> None:
    own = limits_for(GEARBOX, {GEARBOX: Thresholds(caution=105.0, label="box")})
    assert own == replace(KNOWN[GEARBOX], caution=105.0, label="box")
    pushed = limits_for(GEARBOX, {GEARBOX: Thresholds(warning=160.0)})
    assert (pushed.caution, pushed.warning) == (115, 160.0)
    assert pushed.high == 180.0
    low = limits_for(GEARBOX, {GEARBOX: Thresholds(warning=100.0)})
    assert (low.cold, low.caution, low.warning, low.high) == (50, None, 100.0, 150)


@pytest.mark.parametrize("signal", [*KNOWN, "transfer.oil_temperature", "cabin.temperature"])
def test_every_signal_has_a_scale_that_can_be_drawn(signal: str) -> None:
    limits = limits_for(signal, {})
    assert limits.low is not None
    assert limits.high is not None
    assert limits.low < limits.high
    assert limits.label


def test_a_signal_of_no_fame_is_called_by_its_name() -> None:
    assert limits_for("cabin.temperature", {}).label == "cabin"
    assert limits_for("gearbox.clutch_temperature", {}).label == "clutch"


def test_warning_limits_raise_alerts_unless_switched_off() -> None:
    alerts = underdash_temperatures.alerts(HYBRID, Settings())
    assert [(alert.signal, alert.above, alert.role) for alert in alerts] == [
        (BATTERY, 50, Role.WARNING),
        (COOLANT, 115, Role.WARNING),
    ]
    assert alerts[0].text == "battery hot"
    assert underdash_temperatures.alerts(HYBRID, Settings(alerts=False)) == []


@pytest.mark.parametrize(
    ("wrong", "allowed"),
    [
        ({"signals": ("a", "b", "c", "d", "e")}, "four `signals` at most"),
        ({"signals": ("a",), "main": "b"}, "`main` one of `signals`"),
    ],
)
def test_settings_that_make_no_sense_say_what_is_allowed(wrong: dict[str, object], allowed: str) -> None:
    with pytest.raises(ValueError, match=allowed):
        Settings(**wrong)  # type: ignore[arg-type]


def test_limits_out_of_order_say_so() -> None:
    with pytest.raises(ValueError, match="in rising order"):
        Thresholds(caution=130.0, warning=120.0)


def test_it_says_who_it_is() -> None:
    assert underdash_temperatures.plugin().settings is Settings
