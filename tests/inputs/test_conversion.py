"""From what a channel measures to what a signal stores."""

from __future__ import annotations

from dataclasses import replace

import pytest

from underdash.contract.errors import UnderdashError
from underdash.contract.sources import Input, InputKind
from underdash.inputs.conversion import converter, electrical, levels, measured
from underdash.signals.catalogue import CATALOGUE

VOLTS = CATALOGUE["low_voltage_battery.voltage"]
OIL = CATALOGUE["engine.oil_temperature"]
PRESSURE = CATALOGUE["engine.oil_pressure"]
BATTERY = Input(VOLTS.name, InputKind.IIO, "ads1015", "in_voltage0", divider=(47e3, 10e3))
SENDER = Input(
    OIL.name,
    InputKind.IIO,
    "ads1015",
    "in_voltage1",
    pull_up=(3.3, 1000.0),
    points=((40.0, 150.0), (190.0, 80.0), (9400.0, -20.0)),
)


@pytest.mark.parametrize(
    ("kind", "channel", "unit", "factor"),
    [
        (InputKind.IIO, "in_voltage3", "V", 1e-3),
        (InputKind.IIO, "in_voltage0-voltage1", "V", 1e-3),
        (InputKind.IIO, "in_temp", "degC", 1e-3),
        (InputKind.IIO, "in_pressure0", "kPa", 1.0),
        (InputKind.IIO, "in_humidityrelative", "%", 1e-3),
        (InputKind.HWMON, "in1", "V", 1e-3),
        (InputKind.HWMON, "temp2", "degC", 1e-3),
        (InputKind.HWMON, "in0_lcrit_alarm", "on or off", 1.0),
        (InputKind.HWMON, "temp1_alarm", "on or off", 1.0),
        (InputKind.ONE_WIRE, "", "degC", 1e-3),
    ],
)
def test_a_channel_measures_in_the_unit_that_the_kernel_documents(
    kind: InputKind, channel: str, unit: str, factor: float
) -> None:
    assert measured(Input(VOLTS.name, kind, "x", channel)) == (unit, factor)


@pytest.mark.parametrize("channel", ["in_voltage0_raw", "in_voltage0/../..", "voltage0", "in_color", "", "in1"])
def test_a_channel_that_no_file_can_have_is_told_with_how_it_is_written(channel: str) -> None:
    with pytest.raises(UnderdashError, match=r'written as "in_voltage0"'):
        measured(replace(BATTERY, channel=channel))


def test_a_divider_gives_the_voltage_in_front_of_it() -> None:
    assert converter(BATTERY, VOLTS)(2.2) == pytest.approx(2.2 * 57 / 10)


@pytest.mark.parametrize(("ohms", "value"), [(40.0, 150.0), (115.0, 115.0), (190.0, 80.0), (4795.0, 30.0)])
def test_a_sender_on_a_pull_up_is_read_off_its_points_in_ohms(ohms: float, value: float) -> None:
    volts = 3.3 * ohms / (1000.0 + ohms)
    assert converter(SENDER, OIL)(volts) == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize("volts", [0.0, 0.05, 3.2, 3.3, 3.31])
def test_a_shorted_or_open_sender_gives_no_value(volts: float) -> None:
    assert converter(SENDER, OIL)(volts) is None


def test_points_may_have_a_unit_of_their_own() -> None:
    item = replace(SENDER, signal=PRESSURE.name, pull_up=None, points=((0.5, 0.0), (4.5, 10.0)), unit="bar")
    assert converter(item, PRESSURE)(2.5) == pytest.approx(500.0)


def test_a_scale_makes_another_quantity_of_what_is_measured() -> None:
    item = replace(BATTERY, divider=None, signal=PRESSURE.name, scale=2.5, offset=-1.25, unit="bar")
    assert converter(item, PRESSURE)(2.5) == pytest.approx(500.0)


def test_a_thermometer_needs_no_scale() -> None:
    item = Input("ambient.temperature", InputKind.ONE_WIRE)
    assert converter(item, CATALOGUE["ambient.temperature"])(-7.25) == -7.25


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"signal": OIL.name}, "measures V, and engine.oil_temperature is stored in 'degC'"),
        ({"signal": "dashboard.night"}, "use a gpio line"),
        ({"divider": (1e4, 0.0)}, "ohms above and below"),
        ({"divider": None, "pull_up": (3.3, 0.0)}, "volts and ohms"),
        ({"points": ((1.0, 2.0),)}, "at least two"),
        ({"points": ((2.0, 1.0), (1.0, 2.0))}, "first numbers rise"),
        ({"scale": 2.0, "unit": "degC"}, "stored in 'V'"),
        ({"scale": 2.0, "unit": "furlong"}, "furlong is no unit"),
        ({"channel": "in_temp", "divider": (1e4, 1e4)}, "divider is for channels that measure V"),
    ],
)
def test_an_input_that_contradicts_itself_is_told(change: dict[str, object], words: str) -> None:
    item = replace(BATTERY, **change)  # type: ignore[arg-type]
    with pytest.raises(UnderdashError, match=words):
        converter(item, CATALOGUE[item.signal])


def test_a_line_says_on_and_off_and_the_key_its_positions() -> None:
    key = Input("vehicle.ignition", InputKind.GPIO, "GPIO17")
    assert levels(Input("dashboard.night", InputKind.GPIO, "GPIO27"), CATALOGUE["dashboard.night"]) == (False, True)
    assert levels(key, CATALOGUE["vehicle.ignition"]) == ("OFF", "ON")
    assert levels(replace(key, means="START"), CATALOGUE["vehicle.ignition"]) == (None, "START")


def test_a_line_is_no_number_and_no_position_that_does_not_exist() -> None:
    with pytest.raises(UnderdashError, match="on or off"):
        levels(Input(OIL.name, InputKind.GPIO, "GPIO17"), OIL)
    with pytest.raises(UnderdashError, match="can be LOCK, OFF, ACC, ON, START"):
        levels(Input("vehicle.ignition", InputKind.GPIO, "GPIO17", means="RUN"), CATALOGUE["vehicle.ignition"])


def test_without_a_divider_what_is_measured_is_what_counts() -> None:
    unit, electric = electrical(replace(BATTERY, divider=None))
    assert (unit, electric(1.5)) == ("V", 1.5)


ALARM = Input("board.undervoltage", InputKind.HWMON, "ina226", "in1_lcrit_alarm")


@pytest.mark.parametrize(("number", "on"), [(0.0, False), (1.0, True)])
def test_an_alarm_of_the_kernel_is_a_switch(number: float, on: bool) -> None:
    assert converter(ALARM, CATALOGUE["board.undervoltage"])(number) is on


@pytest.mark.parametrize(
    ("item", "signal", "said"),
    [
        (ALARM, "low_voltage_battery.voltage", "an alarm is on or off; choose a switch"),
        (replace(ALARM, scale=2.0), "board.undervoltage", "leave points, scale, offset"),
        (replace(ALARM, channel="in1_odd_alarm"), "board.undervoltage", 'or "in0_lcrit_alarm"'),
        (
            replace(ALARM, kind=InputKind.IIO, channel="in_voltage0_alarm"),
            "board.undervoltage",
            "a sensor gives a number",
        ),
    ],
)
def test_an_alarm_that_cannot_be_one_is_told(item: Input, signal: str, said: str) -> None:
    with pytest.raises(UnderdashError, match=said):
        converter(item, CATALOGUE[signal])
