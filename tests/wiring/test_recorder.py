"""Recording: a slow, full or failing disk ends or thins it and never the daemon."""

from __future__ import annotations

import datetime
import errno
import io
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from underdash.bus.frames import Frame
from underdash.bus.link import Link
from underdash.bus.memory import MemoryBus
from underdash.bus.trace import TraceWriter, read_trace
from underdash.contract.errors import UnderdashError
from underdash.wiring import recorder as recorder_module
from underdash.wiring.recorder import Recorder, about, file_bytes, make_room, new_trace

WALL = datetime.datetime(2026, 3, 1, 12, 30, tzinfo=datetime.UTC)
FRAME = Frame(0x101, bytes(8), False, 1.0)


class Tapped:
    """Stands in for a link: keeps the tap."""

    def __init__(self) -> None:
        self.tap: Any = None

    def add_tap(self, tap: Any) -> None:
        self.tap = tap


def recorder_of(writer: Any) -> tuple[Recorder, Tapped]:
    link = Tapped()
    return Recorder(writer, {"drive": cast(Link, link)}), link


class FullDisk(io.BytesIO):
    """Takes so many bytes and no more."""

    def __init__(self, room: int) -> None:
        super().__init__()
        self.room = room

    def write(self, data: Any) -> int:
        if self.tell() + len(data) > self.room:
            raise OSError(errno.ENOSPC, "No space left on device")
        return super().write(data)


@pytest.fixture(autouse=True)
def no_sync(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file in memory cannot be synced; real ones are in the test with a process of its own."""
    monkeypatch.setattr("underdash.bus.trace.os", SimpleNamespace(fdatasync=lambda number: None))
    monkeypatch.setattr(FullDisk, "fileno", lambda self: -1)


def test_every_frame_and_mark_is_written(tmp_path: Path) -> None:
    path = tmp_path / "t.log"
    recorder, link = recorder_of(TraceWriter(path, about(WALL)))
    for n in range(1000):
        link.tap(Frame(0x101, bytes((n % 256,)), False, float(n)))
    recorder.mark("here", 5.0)
    recorder.close()
    trace = read_trace(path)
    assert [frame.at for _, frame in trace] == [float(n) for n in range(1000)]
    assert trace.marks == [(5.0, "here")]
    assert trace.about["wall"] == "2026-03-01T12:30:00+00:00"
    assert (recorder.frames, recorder.dropped, recorder.failure) == (1000, 0, "")


def test_a_full_disk_ends_the_recording_and_says_so() -> None:
    disk = FullDisk(200)
    recorder, link = recorder_of(TraceWriter(disk))
    for _ in range(50):
        link.tap(FRAME)
    recorder._thread.join(10)
    assert recorder.failure == "recording ended: No space left on device"
    link.tap(FRAME)
    assert recorder.dropped > 0
    recorder.mark("more", 1.0)
    recorder.flush(timeout_s=0.01)
    recorder.close()
    assert disk.getvalue().endswith(b"\n")


def test_closing_does_not_hang_where_the_writer_ended_with_much_still_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder_module, "MOST_WAITING", 10)
    gate = threading.Event()

    class Slow(FullDisk):
        def write(self, data: Any) -> int:
            if self.tell():
                gate.wait(10)
            return super().write(data)

    recorder, link = recorder_of(TraceWriter(Slow(100)))
    for _ in range(40):
        link.tap(FRAME)
    assert recorder.dropped >= 20
    gate.set()
    recorder._thread.join(10)
    recorder.close()
    assert "No space left" in recorder.failure


def test_a_mistake_in_the_writer_is_told_and_does_not_end_in_silence() -> None:
    class Broken(FullDisk):
        def write(self, data: Any) -> int:
            if self.tell():
                raise ValueError("I/O operation on closed file")
            return super().write(data)

    recorder, link = recorder_of(TraceWriter(Broken(1000)))
    link.tap(FRAME)
    recorder.close()
    assert recorder.failure == "recording ended: I/O operation on closed file"


def test_a_link_hands_its_frames_over(tmp_path: Path) -> None:
    from math import inf

    from underdash.pace import paced_loop

    loop = paced_loop(inf)
    bus = MemoryBus("drive")
    link = Link("drive", bus.port)
    recorder = Recorder(TraceWriter(tmp_path / "t.log"), {"drive": link})
    link.start(loop, loop.time())
    loop.call_later(0.1, lambda: bus.inject(Frame(0x101, b"\x01")))
    loop.call_later(0.2, lambda: bus.inject(Frame(0x102, b"", fd=True)))
    loop.call_later(0.3, loop.stop)
    loop.run_forever()
    link.close()
    loop.close()
    recorder.close()
    assert [(role, frame.id) for role, frame in read_trace(tmp_path / "t.log")] == [("drive", 0x101), ("drive", 0x102)]


KILLED = """
import sys, os, signal
from pathlib import Path
from underdash.bus.frames import Frame
from underdash.bus.trace import TraceWriter
from underdash.wiring.recorder import Recorder

class Link:
    def add_tap(self, tap):
        self.tap = tap

link = Link()
recorder = Recorder(TraceWriter(Path(sys.argv[1]), {"version": "test"}), {"drive": link})
for n in range(3000):
    link.tap(Frame(0x101, bytes(8), False, float(n)))
recorder.flush(10)
for n in range(3000, 6000):
    link.tap(Frame(0x101, bytes(8), False, float(n)))
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_what_was_flushed_survives_being_killed_in_the_middle(tmp_path: Path) -> None:
    path = tmp_path / "t.log"
    done = subprocess.run([sys.executable, "-c", KILLED, path], check=False, timeout=60)
    assert done.returncode == -signal.SIGKILL
    trace = read_trace(path)
    times = [frame.at for _, frame in trace]
    assert times[:3000] == [float(n) for n in range(3000)]
    assert times == [float(n) for n in range(len(times))]


def test_the_oldest_traces_make_room(tmp_path: Path) -> None:
    ours = [f"20260103-101500-{n}.log" for n in (2, 0, 1)]
    for n, name in enumerate(("mine.log", *ours)):
        (tmp_path / name).write_bytes(bytes(400_000))
        os.utime(tmp_path / name, (n, n))
    (tmp_path / "mine.csv").write_bytes(bytes(400_000))
    assert [path.name for path in make_room(tmp_path, 1.0)] == ours[:1]
    assert [path.name for path in make_room(tmp_path, 0.0)] == ours[1:]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mine.csv", "mine.log"]


def test_a_new_trace_never_takes_anothers_name(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    for _ in range(2):
        new_trace(folder, 10.0, WALL).close()
    assert sorted(path.name for path in folder.iterdir()) == ["20260301-123000-0.log", "20260301-123000-1.log"]


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(UnderdashError, match=r"recording\.folder .* choose one that can be written"):
        new_trace(tmp_path / "file", 10.0, WALL)


def test_traces_never_outgrow_their_share_by_more_than_one_file(tmp_path: Path) -> None:
    share_mb = 0.02
    most = file_bytes(share_mb)

    def following() -> TraceWriter:
        return new_trace(tmp_path, share_mb, WALL)

    link = Tapped()
    recorder = Recorder(following(), {"drive": cast(Link, link)}, following, most)
    for n in range(4000):
        link.tap(Frame(0x101, bytes(8), False, float(n)))
        if n % 100 == 0:
            recorder.flush(10)
            assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= share_mb * 1e6 + most + 100
    recorder.close()
    assert (recorder.frames, recorder.dropped, recorder.failure) == (4000, 0, "")
    kept = sorted(tmp_path.iterdir(), key=lambda path: path.stat().st_mtime_ns)
    assert len(kept) > 4
    last = [frame.at for path in kept for _, frame in read_trace(path)]
    assert max(last) == 3999.0
    assert sorted(last) == [float(n) for n in range(4000 - len(last), 4000)]


def test_a_trace_is_an_eighth_of_the_share_but_never_huge() -> None:
    assert (file_bytes(80.0), file_bytes(500.0), file_bytes(5000.0)) == (10e6, 62.5e6, 64e6)


def test_a_flush_is_begun_at_once_however_long_the_disk_takes(tmp_path: Path) -> None:
    writer = TraceWriter(tmp_path / "slow.log", about(WALL))
    stuck = threading.Event()
    flush = writer.flush

    def slow(durable: bool = False) -> None:
        stuck.wait(20.0)
        flush(durable)

    writer.flush = slow  # type: ignore[method-assign]
    recorder, tapped = recorder_of(writer)
    tapped.tap(FRAME)
    done = recorder.begin_flush()
    assert not done.is_set()
    stuck.set()
    assert done.wait(20.0)
    recorder.close()
    assert recorder.begin_flush().wait(20.0), "a recording that ended has nothing to wait for"
