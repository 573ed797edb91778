"""Traces of what the buses carry, written by a thread of their own so that a slow card never holds up the loop."""

from __future__ import annotations

import datetime
import queue
import threading
import time
from collections.abc import Callable, Mapping
from importlib.metadata import version
from math import inf
from pathlib import Path

import structlog

from ..bus.frames import Frame
from ..bus.link import Link
from ..bus.trace import TraceWriter
from ..contract.errors import UnderdashError

_log = structlog.get_logger()

FLUSH_S = 1.0
CLOSE_S = 5.0
MOST_WAITING = 50_000
MOST_FILE_BYTES = 64e6
FILES_A_SHARE = 8
"""A trace is at most this part of its share, so that making room loses an eighth and never everything."""
OWN_TRACES = "[0-9]*-[0-9]*-[0-9]*.log"
"""What `new_trace` calls its files; what a person recorded into the same folder is never deleted."""
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")

_Job = Callable[[TraceWriter], None]


class Recorder:
    """Writes every frame of the given links to a trace, until it is closed.

    A full disk, or a card that cannot keep up, ends or thins the recording and never the daemon.

    Args:
        writer: the open trace.
        links: buses whose frames are recorded.
        following: opens the trace that goes on where one is full; None writes everything into one.
        most_bytes: when a trace is full.

    Attributes:
        dropped: frames left out because the disk did not keep up.
        failure: why recording ended, "" while it goes on.
    """

    def __init__(
        self,
        writer: TraceWriter,
        links: Mapping[str, Link],
        following: Callable[[], TraceWriter] | None = None,
        most_bytes: float = inf,
    ) -> None:
        self.dropped = 0
        self.failure = ""
        self._writer = writer
        self._following = following
        self._most_bytes = most_bytes
        self._frames_before = 0
        self._jobs: queue.Queue[_Job | None] = queue.Queue(MOST_WAITING)
        self._taps = [(link, self._tap(role)) for role, link in links.items()]
        for link, tap in self._taps:
            link.add_tap(tap)
        self._thread = threading.Thread(target=self._run, name="recorder", daemon=True)
        self._thread.start()

    @property
    def frames(self) -> int:
        """Frames written so far."""
        return self._frames_before + self._writer.frames

    def mark(self, text: str, at: float) -> None:
        """Put a remark into the trace."""
        self._put(lambda writer: writer.mark(text, at))

    def begin_flush(self) -> threading.Event:
        """Have everything recorded so far survive a lost supply; returns at once what tells when that is so.

        It is told as done, too, where nothing can be done: recording has ended, or the card does not keep up.
        """
        done = threading.Event()

        def flush(writer: TraceWriter) -> None:
            writer.flush(durable=True)
            done.set()

        if not self._thread.is_alive() or not self._put(flush):
            done.set()
        return done

    def flush(self, timeout_s: float = 3.0) -> None:
        """Wait until everything recorded so far would survive a lost supply, but not longer than that."""
        self.begin_flush().wait(timeout_s)

    def detach(self) -> None:
        """Take no more frames; on the thread of the links."""
        for link, tap in self._taps:
            link.remove_tap(tap)
        self._taps = []

    def close(self) -> None:
        """Write what is left and end."""
        if not self.failure:
            try:
                self._jobs.put(None, timeout=CLOSE_S)
            except queue.Full:
                _log.warning("recording_not_finished", why="the disk does not keep up")
        self._thread.join(CLOSE_S)

    def _tap(self, role: str) -> Callable[[Frame], None]:
        def tap(frame: Frame) -> None:
            if not self._put(lambda writer: writer.write(role, frame)):
                self.dropped += 1

        return tap

    def _put(self, job: _Job) -> bool:
        if self.failure:
            return False
        try:
            self._jobs.put_nowait(job)
        except queue.Full:
            return False
        return True

    def _run(self) -> None:
        flushed_at = time.monotonic()
        try:
            while (job := self._next()) is not None:
                job(self._writer)
                if self._writer.live and self._jobs.empty():
                    self._writer.flush()
                if self._following is not None and self._writer.size >= self._most_bytes:
                    self._turn_over(self._following)
                if time.monotonic() - flushed_at > FLUSH_S:
                    self._writer.flush(durable=True)
                    flushed_at = time.monotonic()
            self._writer.flush(durable=True)
        except Exception as exc:  # whatever it is, it must be told and not only end this thread
            self.failure = f"recording ended: {getattr(exc, 'strerror', None) or exc}"
            _log.warning("recording_ended", error=str(exc))
        finally:
            self._close_writer()

    def _turn_over(self, following: Callable[[], TraceWriter]) -> None:
        """Close a full trace and go on in a new one."""
        full = self._writer
        full.flush(durable=True)
        full.close()
        self._writer = following()
        self._frames_before += full.frames

    def _next(self) -> _Job | None:
        try:
            return self._jobs.get(timeout=FLUSH_S)
        except queue.Empty:
            return lambda writer: writer.flush(durable=True)

    def _close_writer(self) -> None:
        try:
            self._writer.close()
        except OSError as exc:
            self.failure = self.failure or f"recording ended: {exc.strerror or exc}"


def about(wall: datetime.datetime) -> dict[str, str]:
    """Return the lines for the top of a trace; wall time is a label, since a Pi's clock may be wrong at start."""
    try:
        boot = BOOT_ID.read_text().strip()
    except OSError:
        boot = "unknown"
    return {"boot": boot, "wall": wall.isoformat(timespec="seconds"), "version": version("underdash")}


def new_trace(folder: Path, share_mb: float, wall: datetime.datetime) -> TraceWriter:
    """Open a new trace in a folder whose oldest traces make room for it.

    Args:
        folder: made if it is missing.
        share_mb: most the folder's traces may take.
        wall: for the name.

    Raises:
        UnderdashError: the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        make_room(folder, share_mb)
    except OSError as exc:
        raise UnderdashError(f"recording.folder {folder}: {exc.strerror}; choose one that can be written") from exc
    stem = f"{wall:%Y%m%d-%H%M%S}"
    number = 0
    while (path := folder / f"{stem}-{number}.log").exists():
        number += 1
    return TraceWriter(path, about(wall))


def file_bytes(share_mb: float) -> float:
    """Return how large a trace gets before the next is begun."""
    return min(share_mb * 1e6 / FILES_A_SHARE, MOST_FILE_BYTES)


def make_room(folder: Path, share_mb: float) -> list[Path]:
    """Delete the oldest traces of a folder until the rest takes less than its share; returns what was deleted."""
    traces = sorted(folder.glob(OWN_TRACES), key=lambda path: path.stat().st_mtime)
    size = sum(path.stat().st_size for path in traces)
    gone = []
    for path in traces:
        if size <= share_mb * 1e6:
            break
        size -= path.stat().st_size
        path.unlink()
        gone.append(path)
    return gone
