"""What a machine says to the inputs of a configuration."""

from __future__ import annotations

from pathlib import Path

import pytest

from underdash.config.checking import Level
from underdash.contract.errors import UnderdashError
from underdash.contract.sources import Input, InputKind
from underdash.inputs.compiling import Named, Wire, compile_inputs
from underdash.power.states import Supply
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store
from underdash.wiring.wires_found import battery, findings

NIGHT = Input("dashboard.night", InputKind.GPIO, "GPIO27")
VOLTS = Input("low_voltage_battery.voltage", InputKind.IIO, "ads1015", "in_voltage0", divider=(47e3, 10e3))


def wires(*items: Input) -> list[Wire]:
    return compile_inputs([Named(f"i{n}", item) for n, item in enumerate(items)], Store(CATALOGUE), CATALOGUE).wires


def adc(root: Path, millivolts: float) -> None:
    folder = root / "bus/iio/devices/iio:device0"
    folder.mkdir(parents=True)
    (folder / "name").write_text("ads1015\n")
    (folder / "in_voltage0_input").write_text(f"{millivolts}\n")


@pytest.mark.parametrize(
    ("by", "level", "words"),
    [
        ("", Level.NOTE, "input i0: line GPIO27 is there, for dashboard.night"),
        ("underdash", Level.NOTE, "is there"),
        ("lamp", Level.ERROR, "input i0: line GPIO27 is held by 'lamp'"),
    ],
)
def test_a_line_is_there_or_held(by: str, level: Level, words: str) -> None:
    (found,) = findings(wires(NIGHT), held=lambda name: by)
    assert (found.level, words in found.sentence) == (level, True)


def test_a_line_that_no_chip_has_is_an_error_with_the_next_step() -> None:
    def nowhere(name: str) -> str:
        raise UnderdashError(f"line {name}: no chip under /dev has a line of this name")

    (found,) = findings(wires(NIGHT), held=nowhere)
    assert (found.level, found.sentence) == (
        Level.ERROR,
        "input i0: line GPIO27: no chip under /dev has a line of this name",
    )
    assert "it is met when it is there" in found.next_step


def test_a_sensor_is_read_once_and_told_in_volts_and_in_its_signal(tmp_path: Path) -> None:
    adc(tmp_path, 2200)
    (found,) = findings(wires(VOLTS), root=tmp_path)
    assert str(found) == "note: input i0 reads 2.2 V, which is 12.54 V: low_voltage_battery.voltage 12.54 V"


def test_a_missing_sensor_an_odd_one_and_a_broken_sender_are_told(tmp_path: Path) -> None:
    (missing,) = findings(wires(VOLTS), root=tmp_path)
    assert (missing.level, "no iio device 'ads1015' is there" in missing.sentence) == (Level.ERROR, True)
    adc(tmp_path, 9000)
    (odd,) = findings(wires(VOLTS), root=tmp_path)
    assert (odd.level, "plausible is 0 to 40 V" in odd.sentence) == (Level.WARNING, True)
    sender = Input(
        "engine.oil_pressure", InputKind.IIO, "ads1015", "in_voltage0", points=((0.5, 0.0), (4.5, 10.0)), unit="bar"
    )
    (broken,) = findings(wires(sender), root=tmp_path)
    assert (broken.level, "outside its points (0.5 to 4.5 V)" in broken.sentence) == (Level.WARNING, True)


@pytest.mark.parametrize(("number", "word"), [(0, "off"), (1, "on")])
def test_an_alarm_is_told_as_a_switch(tmp_path: Path, number: int, word: str) -> None:
    folder = tmp_path / "class/hwmon/hwmon0"
    folder.mkdir(parents=True)
    (folder / "name").write_text("ina226\n")
    (folder / "in1_lcrit_alarm").write_text(f"{number}\n")
    (found,) = findings(wires(Input("board.undervoltage", InputKind.HWMON, "ina226", "in1_lcrit_alarm")), root=tmp_path)
    assert str(found) == f"note: input i0 reads board.undervoltage {word}"


@pytest.mark.parametrize(
    ("supply", "items", "told"),
    [
        (Supply.PERMANENT, (NIGHT,), True),
        (Supply.WAKEABLE, (), True),
        (Supply.WAKEABLE, (VOLTS,), False),
        (Supply.HELD, (), False),
        (Supply.SWITCHED, (), False),
        (None, (), False),
    ],
)
def test_a_battery_that_nobody_measures_in_a_sleeping_car_is_told(
    supply: Supply | None, items: tuple[Input, ...], told: bool
) -> None:
    assert bool(list(battery(supply, wires(*items)))) == told
