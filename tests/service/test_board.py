"""What the board says of itself, from files as Linux has them."""

from __future__ import annotations

from pathlib import Path

import pytest

from underdash.service.board import Board


def hwmon(root: Path, number: int, name: str, **files: str) -> Path:
    device = root / f"class/hwmon/hwmon{number}"
    device.mkdir(parents=True)
    for file, text in {"name": name, **files}.items():
        (device / file).write_text(text + "\n")
    return device


def zone(root: Path, number: int, kind: str, temp: str) -> None:
    folder = root / f"class/thermal/thermal_zone{number}"
    folder.mkdir(parents=True)
    (folder / "type").write_text(kind + "\n")
    (folder / "temp").write_text(temp + "\n")


def test_undervoltage_is_the_alarm_of_the_pis_own_device(tmp_path: Path) -> None:
    hwmon(tmp_path, 0, "nvme", in0_lcrit_alarm="1")
    assert Board(tmp_path).undervoltage() is None
    device = hwmon(tmp_path, 3, "rpi_volt", in0_lcrit_alarm="0")
    assert Board(tmp_path).undervoltage() is False
    (device / "in0_lcrit_alarm").write_text("1\n")
    assert Board(tmp_path).undervoltage() is True
    (device / "in0_lcrit_alarm").write_text("?\n")
    assert Board(tmp_path).undervoltage() is None


def test_the_temperature_is_the_processors_zone(tmp_path: Path) -> None:
    assert Board(tmp_path).temperature() is None
    zone(tmp_path, 0, "acpitz", "27800")
    assert Board(tmp_path).temperature() == 27.8
    zone(tmp_path, 1, "cpu-thermal", "61322")
    assert Board(tmp_path).temperature() == pytest.approx(61.322)


def test_a_zone_that_cannot_be_read_is_none(tmp_path: Path) -> None:
    zone(tmp_path, 0, "cpu-thermal", "")
    assert Board(tmp_path).temperature() is None
