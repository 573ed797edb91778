"""``--live`` of the questions that lead nobody."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import can
import pytest

Typed = Callable[..., Any]
WAYS = {"layout": (), "like": ("--reference", "engine.speed"), "requests": (), "turned": ()}


@pytest.fixture
def car_talks(changed: Callable[[str, str], Path], tmp_path: Path) -> Iterator[Path]:
    """The small car's bus with a number that counts up every 20 ms; returns the configuration."""
    path = changed('channel = "nobody"', f'channel = "{tmp_path.name}"')
    over = threading.Event()

    def talk() -> None:
        with can.Bus(tmp_path.name, interface="virtual") as bus:
            number = 0
            while not over.wait(0.02):
                number += 3
                data = (4000 + number).to_bytes(2, "big")
                bus.send(can.Message(arbitration_id=0x101, data=data, is_extended_id=False))

    thread = threading.Thread(target=talk)
    thread.start()
    yield path
    over.set()
    thread.join()


def test_what_the_buses_carry_is_recorded_and_searched(typed: Typed, car_talks: Path, tmp_path: Path) -> None:
    out = tmp_path / "new.log"
    done = typed("find", "layout", out, "--live", "--seconds", "1.5", "--config", car_talks)
    assert done.status == 0
    assert "frames in" in done.err
    assert "101" in done.out
    assert " drive 101#" in out.read_text()
    again = typed("find", "layout", out)
    assert again.out == done.out


@pytest.mark.parametrize("question", WAYS)
def test_where_nothing_is_heard_nothing_is_searched(typed: Typed, config: Path, tmp_path: Path, question: str) -> None:
    done = typed(
        "find", question, tmp_path / "new.log", *WAYS[question], "--live", "--seconds", "0.2", "--config", config
    )
    assert done.status == 1
    assert "nothing was heard" in done.err
    assert not done.out
    assert not (tmp_path / "new.log").exists()


@pytest.mark.parametrize("question", WAYS)
def test_a_recording_that_is_there_is_not_written_on(typed: Typed, config: Path, trace: Path, question: str) -> None:
    before = trace.read_bytes()
    done = typed("find", question, trace, *WAYS[question], "--live", "--config", config)
    assert done.status == 2
    assert "choose another name" in done.err
    assert trace.read_bytes() == before


def test_seconds_without_live_are_refused(typed: Typed, trace: Path) -> None:
    done = typed("find", "layout", trace, "--seconds", "5")
    assert done.status == 2
    assert "--seconds goes with --live" in done.err


def test_without_a_configuration_the_usual_one_is_wanted(typed: Typed, config: Path, tmp_path: Path) -> None:
    done = typed("find", "like", tmp_path / "new.log", "--reference", "engine.speed", "--live", "--seconds", "1")
    assert done.status == 2
    assert "--config" in done.err
