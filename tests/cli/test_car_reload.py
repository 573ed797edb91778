"""``underdash car reload``, asked of a daemon in a process of its own."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from time import monotonic
from typing import Any

import pytest

from underdash.cli.accepting import reloaded

from .conftest import CAR
from .test_run_command import until

Typed = Callable[..., Any]


@pytest.fixture
def daemon(started: Typed, config: Path) -> Iterator[subprocess.Popen[str]]:
    process = started("run", "--config", config)
    until(process, "event=started")
    yield process
    process.send_signal(signal.SIGTERM)
    _, err = process.communicate(timeout=20)
    assert process.returncode == 0
    assert "Traceback" not in err


def taken(process: subprocess.Popen[str]) -> int:
    """Return how many files and threads a process has."""
    place = Path(f"/proc/{process.pid}")
    return len([*(place / "fd").iterdir(), *(place / "task").iterdir()])


def test_what_is_new_is_taken_up(daemon: object, typed: Typed, car: Path) -> None:
    car.write_text(CAR.replace("Small car", "Smaller car"))
    done = typed("car", "reload")
    assert (done.status, done.out) == (0, "read again: Smaller car\n")
    assert "Smaller car: awake" in typed("status").out


def test_a_description_that_the_daemon_does_not_read_is_told_as_such(daemon: object, car: Path) -> None:
    assert reloaded(car) == "the running daemon has read its description again: Small car"
    other = car.with_name("other.toml")
    other.write_text(CAR)
    assert reloaded(other) == (
        f"the running daemon goes on with another description, {car}: [car] of its configuration says so"
    )


def test_files_and_threads_do_not_grow(daemon: subprocess.Popen[str], typed: Typed) -> None:
    for _ in range(3):
        assert typed("car", "reload").status == 0
    before = taken(daemon)
    for _ in range(20):
        assert typed("car", "reload").status == 0
    end = monotonic() + 20  # the last connection may not be closed yet
    while taken(daemon) > before and monotonic() < end:
        os.sched_yield()
    assert taken(daemon) <= before


BROKEN: Mapping[str, tuple[Callable[[Path], object], str]] = {
    "empty": (lambda car: car.write_text(""), "format"),
    "cut off": (lambda car: car.write_text(CAR[:-20]), "small.toml"),
    "no text": (lambda car: car.write_bytes(b"\xff\xfe\x00"), "small.toml"),
    "a mistake": (lambda car: car.write_text(CAR.replace('"101"', '"X"')), "small.toml"),
    "another car": (lambda car: car.write_text(CAR.replace('"small"', '"large"')), "of another car, large"),
    "other buses": (lambda car: car.write_text(CAR.replace("drive", "comfort")), "other buses than before"),
    "deleted": (lambda car: car.unlink(), "small.toml"),
    "a folder": (lambda car: car.mkdir(), "small.toml"),
}


def test_with_what_cannot_be_taken_up_all_goes_on_as_before(daemon: object, typed: Typed, car: Path) -> None:
    for what, (break_it, says) in BROKEN.items():
        break_it(car)
        done = typed("car", "reload")
        assert done.status in (1, 2), what
        assert says in done.err, what
        assert "Small car: awake" in typed("status").out, what
    car.rmdir()
    car.write_text(CAR)
    assert typed("car", "reload").status == 0
