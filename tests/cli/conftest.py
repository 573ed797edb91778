"""Commands as a person would type them, in this process or in one of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import structlog

from underdash.cli import main

ROOT = Path(__file__).parents[2]

CAR = """
format = 1
name = "small"
title = "Small car"
counting = "from 0"
origin = "made for a test"

[bus.drive]
bitrate = 500_000

[[broadcast]]
bus = "drive"
id = "101"
period_s = 0.1
fields = [{ signal = "engine.speed", byte = 0, length = 16, order = "big", scale = 0.25 }]

[[broadcast]]
bus = "drive"
id = "102"
period_s = 0.1
fields = [{ signal = "engine.coolant_temperature", byte = 0, offset = -40 }]
"""

CONFIG = """
format = 1

[car]
file = "small.toml"

[plugins]
enabled = ["boost", "temperatures", "page_turn"]

[bus.drive]
interface = "virtual"
channel = "nobody"

[power]
supply = "switched"

[panel.main]
driver = "picture"
deck = ["boost", "temperatures"]
settings = { file = "panel.png" }
"""


@dataclass(frozen=True)
class Done:
    """What a command came to."""

    status: int
    out: str
    err: str


@pytest.fixture
def typed(capsys: pytest.CaptureFixture[str]) -> Callable[..., Any]:
    """Runs a command in this process."""

    def run(*arguments: object) -> Done:
        capsys.readouterr()
        try:
            status = main([str(one) for one in arguments])
        except SystemExit as exc:  # argparse
            status = int(exc.code or 0)
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        assert "a mistake in underdash itself" not in said.err, said.err
        return Done(status, said.out, said.err)

    return run


@pytest.fixture(autouse=True)
def logged_nowhere() -> Iterator[None]:
    """Forget what a command set up to log to: the standard error that it found is closed after the test."""
    yield
    structlog.reset_defaults()


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """Starts a command in a process of its own, with directories of its own."""
    processes: list[subprocess.Popen[str]] = []
    environment = {
        **os.environ,
        "XDG_STATE_HOME": str(tmp_path / "state"),
        "XDG_RUNTIME_DIR": str(tmp_path / "runtime"),
        "PYTHONUNBUFFERED": "1",
    }
    for name in ("STATE_DIRECTORY", "RUNTIME_DIRECTORY", "NOTIFY_SOCKET", "INVOCATION_ID"):
        environment.pop(name, None)

    def start(*arguments: object, **options: Any) -> subprocess.Popen[str]:
        command = [sys.executable, "-m", "underdash", *(str(one) for one in arguments)]
        streams = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
        process = subprocess.Popen(command, text=True, env=environment, cwd=tmp_path, **streams)
        processes.append(process)
        return process

    yield start
    for process in processes:
        if process.poll() is None:
            process.kill()
        process.communicate()


@pytest.fixture
def car(tmp_path: Path) -> Path:
    """A small car with one bus."""
    path = tmp_path / "small.toml"
    path.write_text(CAR)
    return path


@pytest.fixture
def config(tmp_path: Path, car: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A configuration of the small car on a bus inside the process."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    path = tmp_path / "underdash.toml"
    path.write_text(CONFIG)
    return path


@pytest.fixture
def changed(config: Path) -> Callable[[str, str], Path]:
    """Changes a piece of the configuration."""

    def change(old: str, new: str) -> Path:
        text = config.read_text()
        assert old in text
        config.write_text(text.replace(old, new))
        return config

    return change


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    """Ten seconds of the small car: 1000 rpm and more, 50 degrees and more."""
    path = tmp_path / "small.log"
    path.write_text("".join(trace_lines(100)))
    return path


def trace_lines(count: int) -> Iterator[str]:
    for n in range(count):
        yield f"({100 + n * 0.1:.6f}) drive 101#{4000 + 4 * n:04X}\n"
        yield f"({100.05 + n * 0.1:.6f}) drive 102#{90 + n % 50:02X}\n"


@pytest.fixture
def long_trace(tmp_path: Path) -> Path:
    """More than anybody reads in a second."""
    path = tmp_path / "long.log"
    path.write_text("".join(trace_lines(150_000)))
    return path
