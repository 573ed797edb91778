"""``underdash record --practice``."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from underdash.bus.trace import TraceWriter, read_trace
from underdash.cli import main


def test_marks_are_in_the_recording_in_their_place(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "menu.log"
    assert main(["record", str(out), "--practice", "menu"]) == 0
    trace = read_trace(out)
    frames = sum(1 for _ in trace)
    assert [word for _, word in trace.marks] == ["menu"] * 5
    assert trace.about["lesson"] == "menu"
    assert capsys.readouterr().err == f"{frames} frames in {out}\nnext: underdash find pressed {out}\n"
    assert [path.name for path in tmp_path.iterdir()] == ["menu.log"]


def test_what_is_held_and_what_is_known_stands_beside_it(tmp_path: Path) -> None:
    assert main(["record", str(tmp_path / "knob.log"), "--practice", "knob", "--car", "loris"]) == 0
    assert all(".." in line for line in (tmp_path / "knob.marks").read_text().splitlines())
    assert main(["record", str(tmp_path / "drive.log"), "--practice", "drive", "--car", "loris"]) == 0
    assert (tmp_path / "drive.csv").read_text().startswith("seconds,km/h\n")


@pytest.mark.parametrize("lesson", ["menu", "knob"])
def test_what_is_said_comes_next_finds_what_the_lesson_is_about(
    tmp_path: Path, lesson: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["record", f"{lesson}.log", "--practice", lesson]) == 0
    command = capsys.readouterr().err.splitlines()[-1].removeprefix("next: underdash ").split()
    assert main(command) == 0
    assert "sure" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--practice", "flute"], "there is no lesson 'flute' for tarn; there are ignition, menu"),
        (["--practice", "menu", "--seconds", "5"], "--seconds goes with a car"),
        (["--practice", "menu", "--car", "nobody"], "car 'nobody' is not known"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, words: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["record", str(tmp_path / "x.log"), *words]) == 2
    assert says in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_recording_is_never_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "x.log").write_text("mine")
    assert main(["record", str(tmp_path / "x.log"), "--practice", "menu"]) == 2
    assert "cannot be written" in capsys.readouterr().err
    assert (tmp_path / "x.log").read_text() == "mine"


@pytest.mark.parametrize(("name", "lesson", "beside"), [("x.log", "knob", "x.marks"), ("x.log", "drive", "x.csv")])
def test_a_file_that_stands_beside_it_is_never_written_over(
    tmp_path: Path, name: str, lesson: str, beside: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / beside).write_text("mine")
    assert main(["record", str(tmp_path / name), "--practice", lesson, "--car", "loris"]) == 2
    assert f"{beside} too, which exists already; choose another name" in capsys.readouterr().err
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {beside: "mine"}


def test_a_recording_is_not_named_like_its_marks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["record", str(tmp_path / "x.marks"), "--practice", "knob", "--car", "loris"]) == 2
    assert "x.marks too, which is its own name" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(writer: TraceWriter, role: str, frame: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(TraceWriter, "write", full)
    path = tmp_path / "x.log"
    assert main(["record", str(path), "--practice", "menu"]) == 1
    assert f"TRACE {path} cannot be written: no space left on device; name another place" in capsys.readouterr().err
    assert [*tmp_path.iterdir()] == []
