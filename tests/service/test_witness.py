"""What faulthandler writes is read, and it is written where Python code no longer can."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from underdash.service.witness import Frame, Witness, read

DUMP = """Fatal Python error: Segmentation fault

Thread 0x00007f0000000001 (most recent call first):
  File "/x/underdash/display/renderer.py", line 12 in show
  File "/x/underdash/display/renderer.py", line 99 in _run

Current thread 0x00007f0000000002 (most recent call first):
  File "/x/underdash_gauge/__init__.py", line 7 in draw.<locals>.inner
"""

LIFE = """
import sys, time, os
from pathlib import Path
from underdash.service.witness import Witness
witness = Witness(Path(sys.argv[1]), 0.2)
print("up", flush=True)
def hangs():
    HOW
hangs()
"""
HELD = "import ctypes; ctypes.PyDLL(None).usleep(30_000_000)"
"""A function in C that keeps the interpreter's lock for 30 s."""


def test_a_dump_is_read_thread_by_thread() -> None:
    how, threads = read(DUMP)
    assert how == "crashed (Segmentation fault)"
    assert [len(thread) for thread in threads] == [2, 1]
    assert threads[1][0] == Frame("/x/underdash_gauge/__init__.py", 7, "draw.<locals>.inner")


@pytest.mark.parametrize(
    ("text", "how"),
    [
        ("", ""),
        ("Timeout (0:00:07)!\nThread 0x1 (most recent call first):\n", "stood still"),
        ("Fatal Python error: Aborted\n", "crashed (Aborted)"),
        ("Timeout (0:00:07)!\nThread 0x1 (most recent call first):\n\nFatal Python error: Aborted\n", "stood still"),
        ("\x00\x00 nonsense", "stood still"),
    ],
)
def test_how_it_came_to_that(text: str, how: str) -> None:
    assert read(text) == (how, ())


@pytest.mark.parametrize(
    ("how", "by", "said"),
    [
        (HELD, signal.SIGKILL, "stood still"),
        (HELD, signal.SIGABRT, "stood still"),
        ("while True: pass", signal.SIGKILL, "stood still"),
        ("os.kill(os.getpid(), 11)", None, "crashed (Segmentation fault)"),
        ("os.abort()", None, "crashed (Aborted)"),
    ],
)
def test_a_hang_is_written_down_before_the_process_is_killed(
    tmp_path: Path, how: str, by: signal.Signals | None, said: str
) -> None:
    path = tmp_path / "hang.txt"
    command = [sys.executable, "-c", LIFE.replace("HOW", how), str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        if by is not None:
            for _ in range(200):
                if "hangs" in path.read_text():
                    break
                with_time(0.05)
            process.send_signal(by)
        process.wait(30)
    found, threads = read(path.read_text())
    assert found == said
    assert "hangs" in [frame.function for thread in threads for frame in thread]


def with_time(seconds: float) -> None:
    """Give another process time."""
    import threading

    threading.Event().wait(seconds)


def test_a_false_alarm_is_taken_back_and_a_part_that_stands_still_is_written_at_once(tmp_path: Path) -> None:
    path = tmp_path / "hang.txt"
    witness = Witness(path, 60.0)
    assert path.read_text() == ""
    witness.still()
    assert "test_a_false_alarm" in path.read_text()
    witness.alive(60.0)
    assert path.read_text() == ""
    witness.close()
