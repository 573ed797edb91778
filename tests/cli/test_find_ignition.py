from __future__ import annotations

import json
from pathlib import Path

import pytest

from underdash.cli import main

VALUES = ((0, 4, "LOCK"), (1, 3, "OFF"), (2, 5, "ACC"), (3, 8, "ON"), (4, 2, "START"), (3, 9, "running"), (1, 6, "OFF"))


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    lines, marks, at = [], [], 0.0
    for value, seconds, word in VALUES:
        marks.append(f"+{at + 0.3:.1f} {word}\n")
        lines += [f"({50 + at + n / 10:.6f}) can1 2A0#{0x40 | value:02X}11\n" for n in range(10 * seconds)]
        at += seconds
    (tmp_path / "drive.marks").write_text("".join(marks))
    path = tmp_path / "drive.log"
    path.write_text("".join(lines))
    return path


def test_the_answer_says_how_a_description_reads_it(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = trace.with_name("found.png")
    given = ["--marks", str(trace.with_name("drive.marks")), "--bus", "comfort=can1", "--picture", str(picture)]
    assert main(["find", "ignition", str(trace), *given]) == 0
    said = capsys.readouterr().out
    assert "  1. comfort 2A0 byte 0 bits 0 to 2: sure" in said
    assert '[[broadcast]]\nbus = "comfort"\nid = "2A0"\nperiod_s = 0.1\n' in said
    assert 'bits = [0, 2], values = { 0 = "LOCK", 1 = "OFF", 2 = "ACC", 3 = "ON", 4 = "START" }' in said
    assert (
        '[[ignition]]\nsignal = "vehicle.ignition"\non = ["ON"]\noff = ["LOCK", "OFF", "ACC"]\nstart = ["START"]\n'
        in said
    )
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_it_is_written_into_a_description(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    car = trace.with_name("mine.toml")
    head = 'format = 1\nname = "mine"\ntitle = "Mine"\ncounting = "from 0"\n'
    car.write_text(head + "\n[bus.comfort]\nbitrate = 100_000\n")
    given = ["--marks", str(trace.with_name("drive.marks")), "--bus", "comfort=can1", "--into", str(car)]
    assert main(["find", "ignition", str(trace), *given]) == 0
    assert "vehicle.ignition is read from comfort 2A0 byte 0 bits 0 to 2" in capsys.readouterr().err
    assert "[[ignition]]" in car.read_text()


def test_json_is_nothing_but_json(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "ignition", str(trace), "--json", "--marks", str(trace.with_name("drive.marks"))]) == 0
    (answer,) = json.loads(capsys.readouterr().out)
    assert answer["ranks"][0][0]["meaning"] == {"0": "LOCK", "1": "OFF", "2": "ACC", "3": "ON", "4": "START"}


def test_without_marks_the_order_is_a_hint(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "ignition", str(trace)]) == 0
    said = capsys.readouterr().out
    assert "bits 0 to 2: likely (70 %)" in said
    assert "no mark says LOCK, OFF, ACC, ON or START" in said


@pytest.mark.parametrize(
    ("marks", "says"),
    [
        ("+1 door\n", "no mark says LOCK, OFF, ACC, ON or START; they say 'door'"),
        ("# nothing\n", "there is no mark in it; a line reads SECONDS WORD"),
        ("+1 ON\n+5 START\n", "the marks never say OFF: mark each position when it is reached"),
        ("+1 ON\n+99 OFF\n", "the mark 'OFF' at 149.0 s lies outside the trace"),
        ("soon ON\n", "line 1: 'soon ON': 'soon' is no number of seconds"),
    ],
)
def test_marks_that_cannot_be_used_are_told(
    trace: Path, marks: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (file := trace.with_name("bad.marks")).write_text(marks)
    assert main(["find", "ignition", str(trace), "--marks", str(file)]) == 2
    assert says in capsys.readouterr().err


def test_marks_that_are_not_there_are_told(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "ignition", str(trace), "--marks", str(trace) + ".no"]) == 2
    assert "cannot be read: no such file or directory; name a file of lines SECONDS WORD" in capsys.readouterr().err
