from __future__ import annotations

import json
from pathlib import Path

import pytest

from underdash.cli import main
from underdash.contract.errors import GivenError


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    lines = []
    for row in range(600):
        into = (row / 10) % 20
        value = min(100, max(0, round(25 * (into - 5 if into < 12 else 19 - into))))
        lines.append(f"({100 + row / 10:.6f}) can0 3E1#00{value:02X}{row % 256:02X}\n")
    path = tmp_path / "knob.log"
    path.write_text("".join(lines))
    marks = ["# four seconds each"]
    for at in (0, 20, 40):
        marks += [f"+{at + 5.2}..+{at + 9.4} dimmer up", f"+{at + 15.2}..+{at + 19.2} dimmer down"]
    (tmp_path / "knob.marks").write_text("\n".join(marks))
    return path


def test_the_field_is_told_and_drawn(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = trace.with_name("found.png")
    marks = ["--marks", str(trace.with_name("knob.marks"))]
    assert main(["find", "turned", str(trace), *marks, "--picture", str(picture)]) == 0
    told = capsys.readouterr().out
    assert "  1. can0 3E1 byte 1 bits 0 to 6: sure" in told
    assert "0 turned down, 100 turned up" in told
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert main(["find", "turned", str(trace), *marks, "--json", "--word", "dimmer"]) == 0
    (answer,) = json.loads(capsys.readouterr().out)
    assert answer["ranks"][0][0]["figures"]["high"] == 100


def test_turns_are_marked_while_one_records(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for at in (0, 20, 40):
        for begin, until, way in ((5.2, 9.4, "up"), (15.2, 19.2, "down")):
            with trace.open("a") as out:
                out.write(
                    f"# mark ({100 + at + begin}) dimmer {way} begin\n# mark ({100 + at + until}) dimmer {way} end\n"
                )
    assert main(["find", "turned", str(trace)]) == 0
    assert "  1. can0 3E1 byte 1 bits 0 to 6: sure" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("marks", "given", "sentence"),
    [
        ("+5 dimmer up\n", [], "has no length; a turn is marked as"),
        ("+5..+9 dimmer up\n", ["--word", "pedal"], "no mark names 'pedal'; they name 'dimmer'"),
        ("5..9 dimmer up\n", [], "lies outside the trace"),
        ("", [], "other.marks: there is no mark in it; a line reads"),
    ],
)
def test_marks_that_say_nothing_are_told(
    trace: Path, marks: str, given: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = trace.with_name("other.marks")
    path.write_text(marks)
    assert main(["find", "turned", str(trace), "--marks", str(path), *given]) == GivenError.exit_status
    assert sentence in capsys.readouterr().err
