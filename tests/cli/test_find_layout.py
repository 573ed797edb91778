from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from underdash.cli import main


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    path = tmp_path / "drive.log"
    lines = []
    for n in range(200):
        data = bytes([0x04 if 60 < n < 120 else 0, 0, n % 16])
        lines.append(f"({5 + n / 50:.6f}) can0 2C1#{data.hex().upper()}{sum(data) & 0xFF:02X}\n")
        lines.append(f"({5.01 + n / 50:.6f}) can0 3F0#0102\n")
    path.write_text("".join(lines))
    return path


def test_each_id_is_a_drawing_and_sentences(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "layout", str(trace), "--bus", "drive=can0"]) == 0
    assert capsys.readouterr().out == (
        "drive 2C1: every 20 ms (jitter 0 ms), 200 frames of 4 bytes\n"
        "  |·····a··|········|····++++|########|\n"
        "  a  byte 0 bit 2: flag, changed twice; likely (85 %)\n"
        "  +  byte 2 bits 0 to 3: counter, counts every frame, 0 to 15; sure (90 %)\n"
        "  #  byte 3: checksum, sum8 over all others, plus 00; sure (90 %)\n"
        "  in a description:\n"
        "  counter = { byte = 2, bits = [0, 3] }\n"
        '  checksum = { kind = "sum8", byte = 3, final = "00" }\n'
        "\n"
        "drive: nothing ever changed in 3F0\n"
    )


def test_one_id_can_be_asked_for_and_drawn(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = trace.with_name("found.png")
    assert main(["find", "layout", str(trace), "--id", "0x2c1", "--picture", str(picture)]) == 0
    assert "3F0" not in capsys.readouterr().out
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_json_is_nothing_but_json(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "layout", str(trace), "--json"]) == 0
    one, other = json.loads(capsys.readouterr().out)
    assert [field["kind"] for field in one["fields"]] == ["flag", "counter", "checksum"]
    assert (other["id"], other["fields"]) == ("3F0", [])


def test_nothing_that_changes_ends_with_1(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "layout", str(trace), "--id", "3F0"]) == 1
    assert "nothing ever changed in 3F0" in capsys.readouterr().out


def test_an_id_that_was_not_heard_is_named_with_those_that_were(
    trace: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["find", "layout", str(trace), "--id", "7DF"]) == 2
    assert "no frame of this id is in the recording; there are 2C1, 3F0" in capsys.readouterr().err


def test_a_picture_of_all_ids_is_refused(trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "layout", str(trace), "--picture", "x.png"]) == 2
    assert "say which with --id" in capsys.readouterr().err


def test_the_lines_for_a_description_fit_the_frames(
    trace: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(trace.parent))
    assert main(["find", "layout", str(trace), "--id", "2C1"]) == 0
    lines = capsys.readouterr().out.partition("in a description:\n")[2]
    (car := trace.with_name("car.toml")).write_text(
        'format = 1\nname = "c"\ntitle = "C"\ncounting = "from 0"\n[bus.can0]\nbitrate = 500_000\n'
        '[[broadcast]]\nbus = "can0"\nid = "2C1"\nfields = [{ signal = "button.menu", byte = 0, bit = 2 }]\n'
        f"{lines}\n[buttons]\nmenu = 'comfort'\n"
    )
    assert main(["car", "check", str(car), "--against", str(trace)]) == 0
    assert "1 presses\nnothing speaks against it" in capsys.readouterr().out
    car.write_text(car.read_text().replace('final = "00"', 'final = "01"'))
    assert main(["car", "check", str(car), "--against", str(trace)]) == 1
    assert "2C1 were dropped: 200 with a wrong checksum" in capsys.readouterr().out


def test_contents_that_take_turns_are_no_counter_to_declare(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    contents: tuple[Callable[[int], bytes], ...] = (
        lambda n: bytes([0, n // 8 % 90, 0, 0, 255]),
        lambda n: bytes([1, 255, n % 250, n // 250, 0]),
        lambda n: b"\2\x12\x34\x56\x78",
        lambda n: bytes([3, 0, n // 50, 0x40, 0]),
    )
    rows = [f"({n / 50:.6f}) can0 2B3#{contents[n % 4](n).hex()}\n" for n in range(600)]
    (path := tmp_path / "drive.log").write_text("".join(rows))
    assert main(["find", "layout", str(path)]) == 0
    told = capsys.readouterr().out
    assert "?  byte 0" in told
    assert "in a description" not in told
