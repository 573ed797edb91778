from __future__ import annotations

import json
from math import sin
from pathlib import Path

import pytest

from underdash.cli import main
from underdash.contract.errors import GivenError


def speed(at: float) -> float:
    return 60.0 + 40.0 * sin(at / 4.0)


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    lines = []
    for row in range(1500):
        at = 0.04 * row
        lines.append(f"({100 + at:.6f}) can0 1B4#00000000{round(speed(at) / 0.02):04X}{row % 16:02X}00\n")
        if row % 5 == 0:
            lines.append(f"({100 + at + 0.01:.6f}) can0 7E8#03410D{round(speed(at)):02X}00000000\n")
    path = tmp_path / "drive.log"
    path.write_text("".join(lines))
    return path


@pytest.fixture
def reference(tmp_path: Path) -> Path:
    path = tmp_path / "satellites.csv"
    rows = [f"{100 + n / 2};{speed(n / 2) / 3.6:.3f}\n".replace(".", ",") for n in range(4, 116)]
    path.write_text("seconds;speed\n" + "".join(rows))
    return path


def test_a_csv_file_finds_the_field(trace: Path, reference: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = trace.with_name("found.png")
    given = ["--reference", str(reference), "--reference-unit", "m/s", "--picture", str(picture)]
    assert main(["find", "like", str(trace), *given]) == 0
    told = capsys.readouterr()
    assert "  1. can0 1B4 bytes 4 to 5, big-endian: sure" in told.out
    assert "speed = raw * 0.02 + 0 km/h (fitted: 0.0" in told.out
    assert "commas were read as decimal commas" in told.err
    assert "m/s was turned into km/h" in told.err
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_an_answer_of_service_01_in_the_trace_finds_the_field(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "like", str(trace), "--reference", "vehicle.speed", "--json"]) == 0
    (answer,) = json.loads(capsys.readouterr().out)
    ((best,),) = answer["ranks"][:1]
    assert (best["id"], best["byte"], best["length"], best["figures"]["scale"]) == ("1B4", 4, 16, 0.02)


def test_a_signal_of_a_car_finds_the_field_elsewhere(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    given = ["--car", "loris", "--bus", "drive=can0", "--reference", "vehicle.speed", "--json"]
    assert main(["find", "like", str(trace), *given]) == 0
    (answer,) = json.loads(capsys.readouterr().out)
    ((best,),) = answer["ranks"]  # the frame that the car has it from is left out
    assert (best["id"], best["byte"], best["figures"]["scale"]) == ("7E8", 3, 1.0)


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (["--reference", "no.csv"], "--reference no.csv cannot be read: no such file or directory"),
        (["--reference", "vehicle.speed", "--column", "2"], "--column goes with a CSV file"),
        (["--reference", "vehicle.speed", "--reference-unit", "m/s"], "--reference-unit goes with a CSV file"),
        (["--reference", "engine.oil_pressure"], "name a car with --car"),
        (["--reference", "no.such", "--car", "loris"], "neither a file nor a signal that 'loris' provides"),
        (["--reference", "engine.speed", "--car", "loris"], "has it, but nothing in"),
    ],
)
def test_what_cannot_be_a_reference_is_told(
    trace: Path, given: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["find", "like", str(trace), *given]) == GivenError.exit_status
    assert sentence in capsys.readouterr().err


def test_a_picture_is_no_reference(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    binary = trace.with_name("a.csv")
    binary.write_bytes(b"\xff\xfe\x00\x80")
    assert main(["find", "like", str(trace), "--reference", str(binary)]) == GivenError.exit_status
    assert (
        "it is no text in UTF-8; save it as such, or name a CSV file: seconds, then numbers" in capsys.readouterr().err
    )


CAR = """format = 1
name = "mine"
title = "My car"
counting = "from 0"
origin = "made for a test"
[bus.can0]
bitrate = 500_000
"""


def with_head(reference: Path, head: str) -> Path:
    reference.write_text(reference.read_text().replace("seconds;speed", f"seconds;speed{head}"))
    return reference


@pytest.mark.parametrize(
    "case",
    [
        (" [m/s]", "vehicle.speed", "km/h", 0.02),
        (" [m/s]", "car.pace", "km/h", 0.02),  # as signals of the catalogue keep it
        (" [m/s]", "car.pace --unit mph", "mph", 0.02 / 1.609344),
        ("", "car.pace --unit m/s", "m/s", 0.02 / 3.6),
    ],
)
def test_a_scale_is_in_the_unit_of_what_it_is_written_down_as(
    trace: Path, reference: Path, case: tuple[str, str, str, float], capsys: pytest.CaptureFixture[str]
) -> None:
    head, name, unit, scale = case
    (into := trace.with_name("mine.toml")).write_text(CAR)
    given = ["--reference", str(with_head(reference, head)), "--into", str(into), "--as", *name.split(), "--json"]
    assert main(["find", "like", str(trace), *given]) == 0
    told = capsys.readouterr()
    (answer,) = json.loads(told.out)
    assert answer["ranks"][0][0]["figures"]["scale"] == pytest.approx(scale, rel=0.002)
    assert (f'unit = "{unit}"' in into.read_text()) == name.startswith("car.")
    assert ("no unit is said of its numbers, so they count as m/s" in told.err) == (not head)


@pytest.mark.parametrize(("head", "name"), [(" [rpm]", "vehicle.speed"), (" [km/h]", "car.pace --unit degC")])
def test_a_reference_of_another_quantity_than_the_signal_is_refused(
    trace: Path, reference: Path, head: str, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (into := trace.with_name("mine.toml")).write_text(CAR)
    given = ["--reference", str(with_head(reference, head)), "--into", str(into), "--as", *name.split()]
    assert main(["find", "like", str(trace), *given]) == GivenError.exit_status
    assert f", and the reference is in {head.strip(' []')}; name another signal" in capsys.readouterr().err
    assert into.read_text() == CAR


def test_the_name_of_a_reference_may_be_no_text(
    trace: Path, reference: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (into := trace.with_name("mine.toml")).write_text(CAR)
    odd = with_head(reference, "").rename(reference.with_name("m\udcfcnu\x1b.csv"))
    odd.write_text(odd.read_text().partition("\n")[2])  # without heads it is called after its file
    given = ["--reference", str(odd), "--into", str(into), "--as", "vehicle.speed"]
    assert main(["find", "like", str(trace), *given]) == 0
    assert "m?nu?.csv column 2 = raw * " in capsys.readouterr().out
    assert 'found_by = "find like m?nu?.csv column 2"' in into.read_text()
