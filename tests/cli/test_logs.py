"""How events become lines."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import structlog

from underdash.cli.logs import Lines, set_up, to_journal
from underdash.service.repeats import Repeats


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


def line(lines: Lines, level: str, event: str, **facts: Any) -> str | None:
    try:
        return lines(None, level, {"event": event, "level": level, **facts})
    except structlog.DropEvent:
        return None


@pytest.mark.parametrize(
    ("level", "priority"), [("debug", 7), ("info", 6), ("warning", 4), ("error", 3), ("critical", 2)]
)
def test_in_the_journal_each_line_begins_with_its_priority(level: str, priority: int) -> None:
    assert (
        line(Lines(journal=True), level, "power", state="awake") == f"<{priority}>level={level} event=power state=awake"
    )


def test_elsewhere_it_does_not() -> None:
    assert line(Lines(journal=False), "info", "power") == "level=info event=power"


def test_more_lines_of_a_text_stay_one_line() -> None:
    said = line(Lines(journal=True), "error", "tick_failed", exception="Traceback\n  here\nValueError: odd")
    assert said is not None
    assert "\n" not in said


def test_the_same_event_is_said_some_times_and_then_counted() -> None:
    clock = Clock()
    lines = Lines(journal=True, repeats=Repeats(most=2), clock=clock)
    said = [line(lines, "warning", "bus_failed", role="drive", error=str(n)) for n in range(5)]
    assert [one is not None for one in said] == [True, True, False, False, False]
    assert line(lines, "warning", "bus_failed", role="comfort", error="0") is not None
    clock.now = 61.0
    assert line(lines, "info", "power") == (
        "<6>level=info event=left_out count=3 of=bus_failed role=drive\n<6>level=info event=power"
    )


def test_what_is_kept_back_at_the_end_is_counted_there(capsys: pytest.CaptureFixture[str]) -> None:
    clock = Clock()
    lines = Lines(journal=True, repeats=Repeats(most=1), clock=clock)
    for _ in range(3):
        line(lines, "warning", "bus_failed", role="drive")
    lines.last_word()
    lines.last_word()
    assert capsys.readouterr().err == "<6>level=info event=left_out count=2 of=bus_failed role=drive\n"


def test_the_journal_is_known_by_the_stream_that_leads_to_it(tmp_path: Path) -> None:
    with (tmp_path / "stream").open("w") as opened:
        found = os.fstat(opened.fileno())
        told = {"JOURNAL_STREAM": f"{found.st_dev}:{found.st_ino}"}
        assert to_journal(told, opened.fileno())
        assert not to_journal({}, opened.fileno())
        # inherited by a program whose output was led elsewhere
        assert not to_journal({"JOURNAL_STREAM": f"{found.st_dev}:{found.st_ino + 1}"}, opened.fileno())
    assert not to_journal(told, 999)


def test_what_is_set_up_logs_without_time_and_colours(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("JOURNAL_STREAM", raising=False)
    set_up()
    try:
        structlog.get_logger().warning("bus_failed", role="drive", error="it is down")
        structlog.get_logger().debug("too little to say")
    finally:
        structlog.reset_defaults()
    assert capsys.readouterr().err == 'level=warning event=bus_failed role=drive error="it is down"\n'


def test_a_daemon_whose_output_is_the_journal_gives_each_line_its_priority(
    config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reading, writing = os.pipe()
    found = os.fstat(writing)
    monkeypatch.setenv("JOURNAL_STREAM", f"{found.st_dev}:{found.st_ino}")
    command = [sys.executable, "-m", "underdash", "run", "--config", str(config)]
    with os.fdopen(reading) as lines, subprocess.Popen(command, stderr=writing) as daemon:
        os.close(writing)
        first = lines.readline()
        daemon.terminate()
        rest = lines.read()
    assert daemon.returncode == 0
    assert all(re.match(r"<[0-7]>level=\w+ event=", one) for one in (first + rest).splitlines())


def test_a_person_at_a_terminal_reads_what_an_event_means() -> None:
    lines = Lines(journal=False, sentences=True)
    assert line(lines, "warning", "bus_failed", role="drive", error="no such interface") == (
        "underdash: Bus drive failed: no such interface"
    )
    assert line(lines, "warning", "something", role="drive") == "level=warning event=something role=drive"
