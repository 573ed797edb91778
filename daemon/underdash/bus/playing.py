"""A recorded drive in place of an adapter: a port that plays one bus of a trace by the loop's clock and never sends."""

from __future__ import annotations

import asyncio
import contextlib
import difflib
from collections.abc import Callable, Collection
from pathlib import Path

from ..contract.errors import GivenError
from .controller import Controller
from .delivery import deliver
from .filters import PASS_ALL, exact, passes
from .frames import Frame
from .port import PortAbsentError, PortError, PortEvents
from .replay import Replay
from .table import Table
from .trace import TraceError, read_trace

TOGETHER_S = 0.005
"""Frames no further apart share a turn of the loop."""
MOST_AT_ONCE = 500


def check_trace(path: Path, channel: str) -> None:
    """Read a trace as far as the first frame of a bus.

    Args:
        path: the trace.
        channel: what the bus is called in it.

    Raises:
        GivenError: it cannot be read, or has no frame of that bus; the message has the buses there are.
    """
    there: dict[str, None] = {}
    trace = read_trace(path)
    with contextlib.closing(trace):
        for name, _ in trace:
            if name == channel:
                return
            there[name] = None
    if not there:
        raise GivenError(f"{path}: no frame in it; record one with underdash record")
    near = difflib.get_close_matches(channel, there, 1) or list(there)
    raise GivenError(
        f"{path}: no frame of a bus {channel!r} in it, there are {', '.join(there)}; "
        f"say recorded_as = {near[0]!r} if that is the one"
    )


def trace_opener(path: Path, channel: str, speed: float) -> Callable[[], TracePort]:
    """Return what makes ports that play a trace, all of them together once: at its end it stays absent."""
    ended: list[PortAbsentError] = []
    return lambda: TracePort(path, channel, speed, ended)


class TracePort:
    """Plays a trace from its first frame; see `Port` for what its methods promise.

    Args:
        path: the trace.
        channel: what the bus is called in it.
        speed: 2.0 is twice as fast as it was.
        ended: gets the sentence of the end; with one in it the port does not open any more.
    """

    virtual = True
    controller: Controller | None = None

    def __init__(self, path: Path, channel: str, speed: float, ended: list[PortAbsentError]) -> None:
        self.silent: bool | None = True
        self._path = path
        self._channel = channel
        self._speed = speed
        self._ended = ended
        self._filters = PASS_ALL
        self._heard = 0
        self._octets = 0
        self._timer: asyncio.TimerHandle | None = None
        self._closing = contextlib.ExitStack()

    def open(self, loop: asyncio.AbstractEventLoop, table: Table, events: PortEvents) -> None:
        """See `Port`."""
        if self._ended:
            raise self._ended[0]
        self._loop, self._table, self._events = loop, table, events
        start = loop.time()
        try:
            trace = read_trace(self._path)
            self._closing.enter_context(contextlib.closing(trace))
            self._replay = Replay(trace, self._channel, start=start, speed=self._speed)
        except TraceError as exc:
            self.close()
            raise self._end(str(exc)) from exc
        events.opened(start)
        self._wait()

    def send(self, frame: Frame) -> bool:
        """See `Port`; nothing gets into a recorded drive."""
        return False

    def listen(self, keys: Collection[int] | None) -> None:
        """See `Port`."""
        self._filters = exact(keys)

    def totals(self) -> tuple[int, int] | None:
        """See `Port`."""
        return self._heard, self._octets

    def probe(self) -> PortError | None:
        """See `Port`."""
        return None

    def close(self) -> None:
        """See `Port`."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self._closing.close()

    def _wait(self) -> None:
        due = self._replay.due()
        if due is None:
            self._fail(f"trace {self._path} was played to its end; start underdash again to play it again")
        else:
            self._timer = self._loop.call_at(due, self._play)

    def _play(self) -> None:
        at = self._loop.time()
        try:
            frames = self._replay.advance(at + TOGETHER_S, MOST_AT_ONCE)
        except TraceError as exc:
            self._fail(str(exc))
            return
        heard = [frame for frame in frames if frame.error or self._passes(frame)]
        deliver(heard, at, self._table, self._events, str(self._path))
        if self._timer is not None:  # a handler may have closed the port
            self._wait()

    def _fail(self, sentence: str) -> None:
        at = self._loop.time()
        self.close()
        self._events.failed(self._end(sentence), at)

    def _end(self, sentence: str) -> PortAbsentError:
        self._ended.append(PortAbsentError(sentence))
        return self._ended[0]

    def _passes(self, frame: Frame) -> bool:
        self._heard += 1
        self._octets += len(frame.data)
        return self._filters is PASS_ALL or passes(self._filters, frame.key)
