"""Looking on live: frames through a pipe, and what is drawn of them."""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import can
import pytest

from underdash.bus.frames import Frame
from underdash.bus.trace import TraceWriter
from underdash.cli import live as live_module
from underdash.cli import main
from underdash.cli.live import Live, live
from underdash.cli.watch import Picture, Steady, lines
from underdash.finding.watching import Watcher

LONG_S = 60.0
CONFIG = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn"]
[bus.drive]
interface = "virtual"
channel = "{channel}"
[power]
supply = "switched"
"""


def press(n: int, first: int, last: int) -> Frame:
    return Frame(0x2C1, bytes([n & 1, first <= n < last]), at=n * 0.02)


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    path = tmp_path / "press.log"
    with TraceWriter(path) as out:
        for n in range(100):
            out.write("comfort", press(n, 60, 75))
    return path


def test_lines_come_through_a_pipe_while_it_is_open() -> None:
    ours, theirs = os.pipe()
    reading = Live(os.fdopen(ours, "rb"))
    writer = TraceWriter(os.fdopen(theirs, "wb"))
    assert writer.live
    writer.write("drive", Frame(0x100, b"\1", at=1.0))
    writer.flush(durable=True)  # there is nothing to be durable at the other end of a pipe
    assert reading.take(LONG_S) == [("drive", Frame(0x100, b"\1", at=1.0))]
    assert not reading.ended.is_set()
    writer._file.close()
    assert reading.ended.wait(LONG_S)
    reading.join()
    assert reading.take(0.0) == []


def test_half_a_line_ends_it_without_a_word() -> None:
    ours, theirs = os.pipe()
    reading = Live(os.fdopen(ours, "rb"))
    os.write(theirs, b"(1.0) drive 100#01\n(1.1) drive 10")
    os.close(theirs)
    assert reading.ended.wait(LONG_S)
    reading.join()
    assert [frame.id for _, frame in reading.take(0.0)] == [0x100]


def test_without_a_daemon_the_buses_of_the_configuration_are_heard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    config = tmp_path / "underdash.toml"
    config.write_text(CONFIG.format(channel=tmp_path.name))
    with live(argparse.Namespace(config=str(config))) as reading, can.Bus(tmp_path.name, interface="virtual") as car:
        found: list[tuple[str, Frame]] = []
        until = time.monotonic() + LONG_S
        while not found and time.monotonic() < until:
            car.send(can.Message(arbitration_id=0x123, data=b"\7", is_extended_id=False))
            found = reading.take(0.2)
        role, frame = found[0]
        assert (role, frame.id, frame.data) == ("drive", 0x123, b"\7")
    assert reading.ended.is_set()
    assert threading.active_count() < 10


def test_what_is_shown_tells_what_to_do_and_then_what_answers() -> None:
    watcher = Watcher(1.0)
    assert lines(watcher, 0.0, 100) == ["nothing is heard yet; the car asleep, or a wrong pin?"]
    for n in range(40):
        watcher.take("comfort", press(n, 60, 75))
    (quiet,) = lines(watcher, 0.8, 100)
    assert quiet.startswith("touch nothing for 0 s more")
    for n in range(40, 80):
        watcher.take("comfort", press(n, 60, 75))
    shown = lines(watcher, 1.6, 100)
    assert shown[0].startswith("press and release, and look what answers (1 bits of 1 ids")
    assert re.fullmatch(r"comfort 2C1 byte 1 bit 0 +▁+▔+▁+ 0 -> 1 -> 0", shown[1])
    assert len(shown) == 2
    assert lines(watcher, 100.0, 100)[1:] == ["nothing answers"]


def test_a_recording_is_played_and_drawn_on_a_terminal(trace: Path) -> None:
    """Source of the terminal: the standard library's pty."""
    master, terminal = os.openpty()
    command = [sys.executable, "-m", "underdash", "watch", "--trace", str(trace), "--quiet", "0.5", "--seconds", "3"]
    with subprocess.Popen(command, stdout=terminal, stderr=terminal) as done:
        os.close(terminal)
        text = b""
        while True:
            try:
                data = os.read(master, 4096)
            except OSError:
                break
            if not data:
                break
            text += data
    os.close(master)
    assert done.returncode == 0
    shown = text.decode()
    assert "comfort 2C1 byte 1 bit 0" in shown
    assert "▔" in shown
    assert "100 frames; 1 bits of 1 ids move by themselves. Next: underdash record" in shown


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--trace", "gone.log"], "trace gone.log cannot be opened"),
        (["--quiet", "0"], "a number larger than 0"),
        (["--config", "gone.toml"], "gone.toml"),
    ],
)
def test_what_is_wrong_is_said(
    words: list[str], says: str, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    assert main(["watch", *words]) == 2
    assert says in capsys.readouterr().err


def test_a_narrow_and_low_terminal_gets_no_line_that_wraps() -> None:
    watcher = Watcher(1.0)
    for n in range(80):
        watcher.take("comfort", press(n, 60, 75))
        for other in range(10):
            watcher.take("comfort", Frame(0x300 + other, bytes([60 <= n < 70 + other]), at=n * 0.02))
    for columns, rows in ((20, 5), (40, 24), (1, 1), (200, 50)):
        shown = lines(watcher, 1.6, columns, rows)
        assert 1 <= len(shown) <= max(1, rows - 1)
        assert all(len(line) < max(2, columns) for line in shown)
    assert lines(watcher, 1.6, 32, 5)[1] == "comfort 309 byte 0 bit 0 1 -> 0"
    assert lines(watcher, 1.6, 31, 5)[1] == "comfort 309 byte 0 bit 0 1->0"
    assert re.fullmatch(r"comfort 309 byte 0 bit 0 ▁+│ 1 -> 0", lines(watcher, 1.6, 45, 5)[1])
    assert lines(watcher, 1.6, 100, 5)[-1] == "and 9 more"


def test_times_never_go_back_and_have_no_long_gaps() -> None:
    steady = Steady()
    times = [steady(Frame(1, b"", at=at)).at for at in (1e9, 1e9 + 0.5, 3.0, 3.25, 9000.0)]
    assert times == [0.0, 0.5, 0.5, 0.75, 2.75]


def test_a_recording_ends_by_itself_and_a_pipe_gets_the_last_picture(tmp_path: Path) -> None:
    path = tmp_path / "gaps.log"
    with TraceWriter(path) as out:
        for n in range(100):
            frame = press(n, 60, 75)
            out.write("comfort", replace(frame, at=frame.at + 5000.0 * (n <= 50)))
    command = [sys.executable, "-m", "underdash", "watch", "--trace", str(path), "--quiet", "0.5"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=LONG_S * 3, check=False)
    assert done.returncode == 0
    assert re.search(r"comfort 2C1 byte 1 bit 0 +▁+▔+▁* 0 -> 1 -> 0", done.stdout)
    assert "\x1b" not in done.stdout
    assert "100 frames" in done.stderr


def test_a_terminal_of_another_size_is_drawn_afresh(capsys: pytest.CaptureFixture[str]) -> None:
    picture = Picture()
    picture.draw(["a"], (80, 24))
    assert capsys.readouterr().out == "", "no terminal"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
        drawn = []
        for text, size in ((["a", "b"], (80, 24)), (["c"], (80, 24)), (["d"], (20, 5))):
            picture.draw(text, size)
            drawn.append(capsys.readouterr().out)
    assert [one.partition("\x1b[2K")[0] for one in drawn] == ["", "\x1b[2A", "\x1b[2J\x1b[H"]


def test_whoever_had_the_buses_ends_and_that_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ended = threading.Event()
    ended.set()

    @contextmanager
    def gone(arguments: argparse.Namespace) -> Iterator[Any]:
        yield SimpleNamespace(take=lambda wait_s: [("drive", press(1, 0, 1))], ended=ended)

    monkeypatch.setattr(live_module, "live", gone)
    assert main(["watch"]) == 1
    assert "whoever had the buses open has ended" in capsys.readouterr().err


@pytest.mark.parametrize("content", [b"", b"# underdash trace 1\n", b"# a: b\n" + bytes(500)])
def test_a_recording_without_a_frame_is_no_silent_car(typed: Any, tmp_path: Path, content: bytes) -> None:
    (trace := tmp_path / "a.log").write_bytes(content)
    done = typed("watch", "--trace", trace)
    assert (done.status, done.err) == (2, f"underdash: {trace}: no frame in it; record one with underdash record\n")


def test_without_a_place_to_draw_nothing_is_watched(
    trace: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdout", None)
    assert main(["watch", "--trace", str(trace)]) == 1
    assert "the standard output is closed, so there is nowhere to draw" in capsys.readouterr().err
