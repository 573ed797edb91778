"""``underdash record``."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from underdash.bus.trace import read_trace

Typed = Callable[..., Any]


def test_silence_is_told_and_the_trace_is_whole(typed: Typed, config: Path) -> None:
    out = config.parent / "new.log"
    done = typed("record", out, "--config", config, "--seconds", "0.2")
    assert done.status == 0
    assert "0 frames in" in done.err
    assert "nothing was heard" in done.err
    text = out.read_text()
    assert text.startswith("# underdash trace 1\n")
    assert all(f"# {word}: " in text for word in ("boot", "wall", "version"))


def test_a_trace_that_exists_is_never_overwritten(typed: Typed, config: Path) -> None:
    out = config.parent / "old.log"
    out.write_text("dear to me")
    done = typed("record", out, "--config", config, "--seconds", "1")
    assert done.status == 2
    assert "choose another name" in done.err
    assert out.read_text() == "dear to me"


def test_a_place_that_cannot_be_written_is_told(typed: Typed, config: Path) -> None:
    done = typed("record", config.parent / "no" / "such.log", "--config", config)
    assert done.status == 1
    assert "cannot be written" in done.err


@pytest.mark.parametrize("seconds", ["-1", "0", "soon"])
def test_a_wrong_number_of_seconds_is_told(typed: Typed, config: Path, seconds: str) -> None:
    assert typed("record", "x.log", "--config", config, "--seconds", seconds).status == 2


def test_a_configuration_without_buses_is_told(typed: Typed, config: Path) -> None:
    text = config.read_text()
    start, end = text.index("[bus.drive]"), text.index("[power]")
    config.write_text(text[:start] + text[end:])
    done = typed("record", config.parent / "new.log", "--config", config)
    assert done.status == 2
    assert "nothing to hear" in done.err


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("lines", [0, 1])
def test_it_ends_when_it_is_told_to_and_the_trace_is_whole(
    started: Typed, config: Path, number: int, lines: int
) -> None:
    out = config.parent / "new.log"
    process = started("record", out, "--config", config)
    for _ in range(lines):
        assert "frames" in process.stderr.readline()
    while not out.exists():
        assert process.poll() is None
    process.send_signal(number)
    _, err = process.communicate(timeout=60)
    assert process.returncode in ((0,) if lines else (0, 130, -int(number)))
    assert "Traceback" not in err
    if lines:
        assert out.read_text().startswith("# underdash trace 1\n")


def test_lines_that_are_typed_become_marks(started: Typed, config: Path) -> None:
    out = config.parent / "new.log"
    process = started("record", out, "--config", config, stdin=subprocess.PIPE)
    assert "frames" in process.stderr.readline()
    process.stdin.write("menu\n\n  door   left \n")
    process.stdin.flush()
    told: list[str] = []
    while sum(line.startswith("mark: ") for line in told) < 3:
        told.append(process.stderr.readline())
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=60)
    assert [line for line in told if line.startswith("mark")] == ["mark: menu\n", "mark: menu\n", "mark: door left\n"]
    trace = read_trace(out)
    assert list(trace) == []
    assert [word for _, word in trace.marks] == ["menu", "menu", "door left"]
    assert [at for at, _ in trace.marks] == sorted(at for at, _ in trace.marks)
