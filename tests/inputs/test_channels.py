"""The kernel's files, found by what a device calls itself."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from underdash.contract.errors import UnderdashError
from underdash.contract.sources import Input, InputKind
from underdash.inputs.channels import Channel, NoValueError

if TYPE_CHECKING:
    from .conftest import Sensor

ADC = Input("low_voltage_battery.voltage", InputKind.IIO, "ads1015", "in_voltage1")
BOARD = Input("board.temperature", InputKind.HWMON, "cpu_thermal", "temp1")
OUTSIDE = Input("ambient.temperature", InputKind.ONE_WIRE)


def test_raw_offset_and_scale_give_volts(iio: Sensor, tmp_path: Path) -> None:
    iio(in_voltage1_raw=1000, in_voltage1_scale=2.0, in_voltage1_offset=-100)
    channel = Channel(ADC, tmp_path)
    assert channel.read() == pytest.approx(1.8)
    assert channel.unit == "V"


def test_a_scale_that_all_channels_share_counts_too(iio: Sensor, tmp_path: Path) -> None:
    iio(in_voltage1_raw=512, in_voltage_scale=3.22265625)
    assert Channel(ADC, tmp_path).read() == pytest.approx(1.65)


def test_a_processed_value_is_taken_as_it_is(iio: Sensor, tmp_path: Path) -> None:
    iio("bme280", in_temp_input=21370)
    assert Channel(Input("cabin.temperature", InputKind.IIO, "bme280", "in_temp"), tmp_path).read() == 21.37


def test_a_device_is_found_by_name_whatever_its_number(hwmon: Sensor, tmp_path: Path) -> None:
    hwmon("rpi_volt", 0, temp1_input=1)
    hwmon("cpu_thermal", 3, temp1_input=48312)
    assert Channel(BOARD, tmp_path).read() == pytest.approx(48.312)


def test_an_alarm_is_read_by_its_own_file(hwmon: Sensor, tmp_path: Path) -> None:
    hwmon("ina226", 1, in1_lcrit_alarm=1, in1_input=4400)
    assert Channel(Input("board.undervoltage", InputKind.HWMON, "ina226", "in1_lcrit_alarm"), tmp_path).read() == 1.0


def test_two_chips_of_one_name_are_told_apart_by_their_place(iio: Sensor, tmp_path: Path) -> None:
    devices = tmp_path / "bus/iio/devices"
    for number, place in enumerate(("1-0048", "1-0049")):
        made = iio(number=number, in_voltage1_raw=number + 1, in_voltage1_scale=1000)
        real = tmp_path / "devices" / place
        real.mkdir(parents=True)
        shutil.move(made, real)
        (devices / made.name).symlink_to(real / made.name)

    with pytest.raises(UnderdashError, match="name one by '1-0048' or '1-0049'"):
        Channel(ADC, tmp_path).read()
    item = Input(ADC.signal, InputKind.IIO, "1-0049", "in_voltage1")
    assert Channel(item, tmp_path).read() == 2.0


def test_the_only_thermometer_needs_no_id(one_wire: Sensor, tmp_path: Path) -> None:
    one_wire(temperature=-7250)
    assert Channel(OUTSIDE, tmp_path).read() == -7.25


def test_of_several_thermometers_one_is_named(one_wire: Sensor, tmp_path: Path) -> None:
    one_wire("28-000000000001", 1000)
    one_wire("28-000000000002", 2000)
    with pytest.raises(UnderdashError, match="28-000000000001, 28-000000000002; say which one by `device`"):
        Channel(OUTSIDE, tmp_path).read()
    assert Channel(Input("ambient.temperature", InputKind.ONE_WIRE, "28-000000000002"), tmp_path).read() == 2.0


@pytest.mark.parametrize(("text", "words"), [("85000", "before it has measured"), ("127937", "supply is too weak")])
def test_what_a_thermometer_says_without_measuring_is_no_value(
    text: str, words: str, one_wire: Sensor, tmp_path: Path
) -> None:
    one_wire(temperature=text)
    with pytest.raises(NoValueError, match=words):
        Channel(OUTSIDE, tmp_path).read()


@pytest.mark.parametrize("text", ["", "nan", "junk", "1 2"])
def test_a_file_without_a_number_is_no_value(text: str, one_wire: Sensor, tmp_path: Path) -> None:
    one_wire(temperature=text)
    with pytest.raises(NoValueError, match="28-0316a2794bff gives"):
        Channel(OUTSIDE, tmp_path).read()


@pytest.mark.parametrize(
    ("item", "words"),
    [
        (ADC, "no iio device 'ads1015' is there, there are: mcp3008; is its overlay in config.txt"),
        (OUTSIDE, "no one_wire device is there, there are: none; is dtoverlay=w1-gpio"),
    ],
)
def test_a_missing_device_is_told_with_those_there_are(item: Input, words: str, iio: Sensor, tmp_path: Path) -> None:
    iio("mcp3008", in_voltage0_raw=1)
    with pytest.raises(UnderdashError, match=words):
        Channel(item, tmp_path).read()


def test_a_device_that_comes_back_under_another_number_is_met_again(iio: Sensor, tmp_path: Path) -> None:
    first = iio(in_voltage1_raw=1, in_voltage1_scale=1000)
    channel = Channel(ADC, tmp_path)
    assert channel.read() == 1.0
    shutil.rmtree(first)
    with pytest.raises(UnderdashError, match="no iio device"):
        channel.read()
    iio(number=4, in_voltage1_raw=3, in_voltage1_scale=1000)
    assert channel.read() == 3.0


def test_a_channel_that_the_device_has_not_is_told(iio: Sensor, tmp_path: Path) -> None:
    iio(in_voltage0_raw=1)
    with pytest.raises(NoValueError, match="No such file"):
        Channel(ADC, tmp_path).read()
