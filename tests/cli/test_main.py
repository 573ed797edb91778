"""The command line as a whole."""

from __future__ import annotations

import errno
import io
import json
import os
import signal
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from underdash import cli
from underdash.cli import VERBS, main
from underdash.cli import plugins as plugins_command
from underdash.contract.errors import GivenError, UnderdashError

Typed = Callable[..., Any]


def test_help_names_every_command(typed: Typed) -> None:
    done = typed("--help")
    assert done.status == 0
    assert all(verb in done.out for verb in VERBS)


@pytest.mark.parametrize("verb", VERBS)
def test_every_command_explains_itself(typed: Typed, verb: str) -> None:
    done = typed(verb, "--help")
    assert done.status == 0
    assert VERBS[verb][1:] in done.out.replace("\n", " ")


def test_the_version_is_told(typed: Typed) -> None:
    assert typed("--version").out.startswith("underdash ")


@pytest.mark.parametrize("arguments", [[], ["nosuch"], ["demo", "--nosuch"], ["demo", "--sec", "1"]])
def test_an_unknown_word_ends_with_two(typed: Typed, arguments: list[str]) -> None:
    done = typed(*arguments)
    assert done.status == 2
    assert done.err.startswith("underdash: ")
    assert done.err.count("\n") == 1
    assert "--help`" in done.err


@pytest.mark.parametrize(
    ("raised", "expected"),
    [
        (UnderdashError("the bus is busy; end the other one"), (1, "underdash: the bus is busy; end the other one\n")),
        (GivenError("no such page"), (2, "underdash: no such page\n")),
        (KeyboardInterrupt(), (130, "underdash: stopped\n")),
        (
            OSError(errno.ENOSPC, "No space left on device", "some/file"),
            (1, "underdash: some/file: No space left on device\n"),
        ),
        (RuntimeError("a bug"), (1, "")),
    ],
)
def test_what_happens_decides_the_exit_status_and_one_sentence(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    raised: BaseException,
    expected: tuple[int, str],
) -> None:
    status, says = expected

    def fail(arguments: object) -> int:
        raise raised

    monkeypatch.setattr(plugins_command, "run", fail)
    monkeypatch.setattr(cli, "_say_no_more", lambda: None)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert main(["plugins"]) == status
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "Traceback" not in said
    if says:
        assert said == says
        return
    assert "please report" in said
    kept = next(tmp_path.glob("underdash-*.txt"))
    assert str(kept) in said
    assert "a bug" in kept.read_text()


def test_the_module_is_the_command() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "underdash", "page", "nosuch", "--out", "x.png"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stderr.startswith("underdash: ")


def test_ctrl_c_twice_is_no_traceback(started: Typed, long_trace: Path, car: Path) -> None:
    process = started("read", long_trace, "--car", car)
    assert process.stdout.readline()
    process.send_signal(signal.SIGINT)
    process.send_signal(signal.SIGINT)
    process.stdout.read()
    assert process.wait(20) in (130, -signal.SIGINT)
    assert "Traceback" not in process.stderr.read()


@pytest.mark.parametrize("door", [["-m", "underdash"], ["-c", "from underdash.__main__ import main; main()"]])
@pytest.mark.parametrize(("stopped_at", "says"), [("argparse", ""), ("tomllib", "underdash: stopped\n")])
def test_ctrl_c_while_it_is_still_being_imported_is_no_traceback(
    config: Path, tmp_path: Path, door: list[str], stopped_at: str, says: str
) -> None:
    instead = tmp_path / "instead"
    instead.mkdir()
    (instead / f"{stopped_at}.py").write_text("raise KeyboardInterrupt\n")
    done = subprocess.run(
        [sys.executable, *door, "run", "--config", str(config)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(instead)},
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "", says)


def test_the_installed_program_goes_through_the_same_door() -> None:
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())
    assert project["project"]["scripts"] == {"underdash": "underdash.__main__:main"}


def test_what_is_said_beside_an_answer_never_ends_up_in_it(tmp_path: Path) -> None:
    (trace := tmp_path / "a.log").write_text("(1.0) can0 123#01\n(2.0) can0 123#0102\n")
    command = [sys.executable, "-m", "underdash", "find", "layout", str(trace), "--json"]
    done = subprocess.run(["sh", "-c", '"$@" 2>&-', "sh", *command], capture_output=True, check=False)
    assert done.returncode == 1  # two frames tell no field
    assert json.loads(done.stdout)[0]["id"] == "123"


def test_a_terminal_that_does_not_know_our_signs_gets_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [f"({n}.0) can0 123#{2 * (n % 7 > 3):02X}\n" for n in range(1, 60)]
    (trace := tmp_path / "a.log").write_text("".join([*lines, "# mark (1.5) \N{SNOWMAN}\n"]))
    screen = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    monkeypatch.setattr("sys.stdout", screen)
    assert main(["find", "layout", str(trace), "--id", "123"]) == 0
    main(["find", "pressed", str(trace)])
    shown = screen.buffer.getvalue()
    assert b"|......a.|" in shown
    assert b"\n?:\n" in shown
    assert "▁▔".encode("ascii", "alike") == b"_#"
