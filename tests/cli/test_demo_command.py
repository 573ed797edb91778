"""``underdash demo``."""

from __future__ import annotations

import json
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Typed = Callable[..., Any]


@pytest.mark.parametrize("car", ["tarn", "loris"])
def test_a_drive_is_driven_and_reported(typed: Typed, tmp_path: Path, car: str) -> None:
    report = tmp_path / "new" / "report.json"
    done = typed("demo", "--car", car, "--seconds", 20, "--speed", "max", "--report", report)
    assert done.status == 0
    assert "20 s driven" in done.out
    told = json.loads(report.read_text())
    assert told["car"]["name"] == car
    assert told["problems"] == told["faults"] == []
    assert told["asking"]["sent"] > 0
    assert told["final"]["vehicle.ignition"]["value"] == "ON"
    assert [path.name for path in report.parent.iterdir()] == ["report.json"]


def test_pictures_of_telling_moments_are_kept(typed: Typed, tmp_path: Path) -> None:
    folder = tmp_path / "pictures"
    done = typed("demo", "--seconds", 22, "--speed", "max", "--pictures", folder)
    assert done.status == 0
    assert [path.name for path in folder.iterdir()] == ["1_ignition_on.png"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--car", "tran"], "tarn"),
        (["--speed", "0"], "larger than 0"),
        (["--speed", "fast"], "a number is wanted"),
        (["--speed", "inf"], "a number is wanted"),
        (["--seconds", "-1"], "larger than 0"),
        (["--seconds", "0"], "larger than 0"),
        (["--seconds", "nan"], "a number is wanted"),
        (["--seed", "x"], "--seed: a whole number is wanted; found 'x'; see `underdash demo --help`"),
    ],
)
def test_a_wrong_argument_is_told_and_ends_with_two(typed: Typed, arguments: list[str], says: str) -> None:
    done = typed("demo", *arguments)
    assert done.status == 2
    assert says in done.err


def test_what_cannot_be_written_is_told_before_the_drive(typed: Typed, tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("")
    for option, place in (
        ("--report", tmp_path),
        ("--report", file / "report.json"),
        ("--pictures", file),
        ("--pictures", Path("/proc/pictures")),
    ):
        done = typed("demo", "--seconds", 5, "--speed", "max", option, place)
        assert done.status == 1
        assert option in done.err
        assert done.err.count("\n") == 1
        assert "driven" not in done.out


@pytest.mark.parametrize("after_lines", [0, 1])
def test_ctrl_c_ends_it_in_order_with_one_sentence(started: Typed, tmp_path: Path, after_lines: int) -> None:
    report, pictures = tmp_path / "report.json", tmp_path / "pictures"
    report.write_text("old")
    process = started("demo", "--speed", "max", "--report", report, "--pictures", pictures)
    for _ in range(after_lines):
        assert process.stdout.readline()
    if not after_lines:
        while not pictures.exists():
            assert process.poll() is None
    process.send_signal(signal.SIGINT)
    said, err = process.communicate(timeout=60)
    assert process.returncode in (130, -signal.SIGINT)
    assert err == "underdash: stopped\n"
    assert "Traceback" not in said
    assert report.read_text() == "old"
    assert not list(tmp_path.rglob("*.part"))


def test_sigterm_ends_it_with_its_report(started: Typed, tmp_path: Path) -> None:
    report = tmp_path / "report.json"
    process = started("demo", "--speed", "max", "--report", report)
    assert process.stdout.readline()
    process.send_signal(signal.SIGTERM)
    said, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, "")
    assert "driven" in said
    assert json.loads(report.read_text())["car"]["name"] == "tarn"


def test_a_reader_that_goes_away_ends_it(started: Typed) -> None:
    process = started("demo", "--speed", "max", "--seconds", 300)
    assert process.stdout.readline()
    process.stdout.close()
    assert process.wait(30) == 1
    assert "Traceback" not in process.stderr.read()
