from __future__ import annotations

import argparse
import sys
from pathlib import Path

import pytest

from underdash.cli import main
from underdash.cli.find import heard
from underdash.contract.errors import GivenError


def given(folder: Path, text: str, *bus: str) -> argparse.Namespace:
    (path := folder / "a.log").write_text(text)
    return argparse.Namespace(trace=str(path), bus=list(bus))


def test_what_a_trace_lacks_is_said_before_the_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = heard(given(tmp_path, "(1.0) can0 123#01\n(2.0) can0 123#0102\n", "drive=can0"))
    assert [str(one) for one in found] == ["drive 123"]
    assert capsys.readouterr().err == (
        "frames change their length on drive 123 (1 to 2 bytes): bytes that a frame lacks read as 0\n"
    )


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "no data frame in it; record again"),
        ("# mark (1.0) menu\n", "no data frame in it; record again"),
        ("(1.0) can0 20000008#0000000000000000\n", "frames left out.*: 1 error; so many errors mean"),
        ("(1.0) can0 123#0", "no data frame in it; the trace was cut off"),
    ],
)
def test_a_trace_with_nothing_to_search_is_refused_with_the_reason(tmp_path: Path, text: str, why: str) -> None:
    with pytest.raises(GivenError, match=why):
        heard(given(tmp_path, text))


def test_without_numpy_the_command_that_adds_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("underdash.cli.find.find_spec", lambda name: None)
    monkeypatch.setattr("underdash.cli.find.requires", lambda name: ["pillow>=10", "numpy>=1.26; extra == 'finding'"])
    assert main(["find", "ignition", str(tmp_path / "a.log")]) == 1
    said = capsys.readouterr().err
    assert "find ignition needs numpy, which is not installed here: " in said
    assert f"{sys.executable} -m pip install --only-binary :all: 'numpy>=1.26'; without network" in said


def test_only_a_name_that_means_a_picture_is_drawn_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (trace := tmp_path / "a.log").write_text("(1.0) can0 123#01\n")
    for name in (trace, tmp_path / "a.jpg", tmp_path / "a", ""):
        assert main(["find", "layout", str(trace), "--id", "123", "--picture", str(name)]) == 2
        assert "a picture is written as PNG; name a file ending in .png" in capsys.readouterr().err
    assert trace.read_text() == "(1.0) can0 123#01\n"
    assert [*tmp_path.iterdir()] == [trace]


def test_the_answer_is_told_where_its_picture_cannot_be_drawn(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (trace := tmp_path / "a.log").write_text("(1.0) can0 123#01\n(2.0) can0 123#02\n# mark (1.5) menu\n")
    assert main(["find", "pressed", str(trace), "--picture", str(tmp_path / "no" / "a.png")]) == 1
    said = capsys.readouterr()
    assert said.out.startswith("menu:\n")
    assert "a.png cannot be written: no such file or directory; name another place" in said.err


@pytest.mark.parametrize(
    ("bus", "why"),
    [
        (["drive=can0", "body=can0"], "the channel 'can0' cannot be both 'drive' and 'body'; leave one out"),
        (["dri\udcfcve=can0"], r"--bus 'dri.*': a name of letters that can be shown is wanted"),
        (["drive=can0", "drive=can1"], "--bus drive is said twice, as 'can0' and as 'can1'; leave one out"),
    ],
)
def test_a_channel_is_one_bus_only(tmp_path: Path, bus: list[str], why: str) -> None:
    with pytest.raises(GivenError, match=why):
        heard(given(tmp_path, "(1.0) can0 123#01\n", *bus))


def test_an_option_of_another_question_is_told_with_the_help_of_this_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", "turned", "a.log", "--quiet"]) == 2
    assert "unrecognized arguments: --quiet; see `underdash find turned --help`" in capsys.readouterr().err
