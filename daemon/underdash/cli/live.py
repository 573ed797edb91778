"""Frames as they come, for commands that look on: through the running daemon, which owns the buses, or by itself.

Either way somebody else's thread writes lines of a trace into a pipe, and whoever looks on reads them.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime
import os
import queue
import sys
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import IO, TYPE_CHECKING, Protocol

from ..contract.errors import UnderdashError

if TYPE_CHECKING:
    from ..bus.frames import Frame
    from ..bus.link import Link
    from ..bus.trace import TraceWriter
    from ..service.client import Client

MOST_WAITING = 100_000
JOIN_S = 2.0
TICK_S = 0.1
Heard = tuple[str, "Frame"]


class Source(Protocol):
    """Where frames come from; `Live` is one."""

    ended: threading.Event

    def take(self, wait_s: float) -> list[Heard]:
        """Return what came since the last call."""


class Live:
    """Reads lines of a trace in a thread of its own.

    Args:
        file: the end of a pipe that they come out of; it is closed when they end.

    Attributes:
        ended: nothing comes any more.
        dropped: frames left out because nobody took them.
    """

    def __init__(self, file: IO[bytes]) -> None:
        self.ended = threading.Event()
        self.dropped = 0
        self._waiting: queue.Queue[Heard] = queue.Queue(MOST_WAITING)
        self._file = file
        self._thread = threading.Thread(target=self._run, name="live", daemon=True)
        self._thread.start()

    def take(self, wait_s: float) -> list[Heard]:
        """Return what came since the last call; waits a little where nothing did."""
        found = []
        with contextlib.suppress(queue.Empty):
            found.append(self._waiting.get(timeout=wait_s))
            while True:
                found.append(self._waiting.get_nowait())
        return found

    def join(self) -> None:
        """Wait for the end of the lines."""
        self._thread.join(JOIN_S)

    def _run(self) -> None:
        from ..bus.trace import Trace

        with self._file:
            try:
                for heard in Trace(self._file, "live"):
                    try:
                        self._waiting.put_nowait(heard)
                    except queue.Full:
                        self.dropped += 1
            except (UnderdashError, OSError, ValueError):
                pass  # the other end went away in the middle of a line
        self.ended.set()


@contextlib.contextmanager
def live(arguments: argparse.Namespace) -> Iterator[Live]:
    """Hear all buses of the configuration, listening only; needs ``--config`` (`common.add_config`).

    Raises:
        UnderdashError: neither a daemon nor a configuration is there, or a bus is in use.
    """
    from ..service.client import Client, NoDaemonError
    from ..wiring.control import socket_paths

    ours, theirs = os.pipe()
    reading = Live(os.fdopen(ours, "rb"))
    try:
        try:
            client = Client.connect(socket_paths())
        except NoDaemonError:
            from .by_itself import buses

            with buses(arguments) as links, contextlib.closing(_Buses(links, theirs)):
                yield reading
            return
        with client:
            client.begin("record", files=[theirs])
            os.close(theirs)
            theirs = -1
            pump = threading.Thread(target=_drain, args=(client, reading), name="pump", daemon=True)
            pump.start()
            yield reading
            with contextlib.suppress(UnderdashError):
                client.stop()
            pump.join(JOIN_S)
    finally:
        if theirs >= 0:
            with contextlib.suppress(OSError):
                os.close(theirs)
        reading.join()


@contextlib.contextmanager
def new_trace(path: Path) -> Iterator[TraceWriter]:
    """Open a new trace; it stays only if a frame got into it, so that the same name can be said again.

    Raises:
        TraceError: it is there already, cannot be made, or cannot be written on.
    """
    from ..bus.trace import TraceError, TraceWriter
    from ..wiring.recorder import about

    try:
        with TraceWriter(path, about(datetime.datetime.now(datetime.UTC))) as out:
            try:
                yield out
            finally:
                if not out.frames:
                    path.unlink(missing_ok=True)
    except BrokenPipeError:
        raise
    except OSError as exc:
        raise TraceError(
            f"trace {path} cannot be written any further: {(exc.strerror or str(exc)).lower()}; what was written "
            "before is kept"
        ) from exc


def _drain(client: Client, reading: Live) -> None:
    """Read what the daemon tells of the recording, and say where it ends."""
    try:
        while not reading.ended.is_set():
            reply = client.next(0.5)
            if reply is not None and reply.last:
                return
    except UnderdashError as exc:
        print(f"underdash: {exc}", file=sys.stderr)


class _Buses:
    """Links on a loop in a thread of their own, whose frames are written to an open file, which is left open."""

    def __init__(self, links: Mapping[str, Link], number: int) -> None:
        import asyncio

        from ..bus.trace import TraceWriter
        from ..wiring.recorder import Recorder

        self._links = links
        self._file = os.fdopen(os.dup(number), "wb")
        self._recorder = Recorder(TraceWriter(self._file), links)
        self._loop = asyncio.SelectorEventLoop()
        self._loop.call_soon(self._begin)
        self._thread = threading.Thread(target=self._loop.run_forever, name="buses", daemon=True)
        self._thread.start()

    def _begin(self) -> None:
        for link in self._links.values():
            link.start(self._loop, self._loop.time())
        self._tick()

    def _tick(self) -> None:
        for link in self._links.values():
            link.tick(self._loop.time())
        self._loop.call_later(TICK_S, self._tick)

    def _end(self) -> None:
        self._recorder.detach()
        for link in self._links.values():
            link.close()
        self._loop.stop()

    def close(self) -> None:
        """Hear no more."""
        self._loop.call_soon_threadsafe(self._end)
        self._thread.join(JOIN_S)
        self._recorder.close()
        with contextlib.suppress(OSError):
            self._file.close()
        self._loop.close()
