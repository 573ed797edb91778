"""A trace played back into tables, at any speed, by any clock.

`Replay` is pure: whoever owns it says what time it is. `play` drives one with a loop's clock.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Iterator, Mapping

from .frames import Frame, Handler
from .table import Table

_AT_A_TIME_S = 0.005


class Replay:
    """Frames on their way into tables.

    Args:
        frames: (role or channel, frame) in the order of time, as `trace.read_trace` gives them.
        tables: by role; frames of other buses are counted and dropped.
        roles: role by channel, where the trace has channels ("can0").
        start: monotonic seconds at which the first frame is due.
        speed: 2.0 is twice as fast as it was.

    Attributes:
        frames: how many were played.
        wanted: how many of them found a handler.
        foreign: how many belonged to no table or are no data frames.
        finished: there are no more.
    """

    def __init__(
        self,
        frames: Iterable[tuple[str, Frame]],
        tables: Mapping[str, Table],
        *,
        roles: Mapping[str, str] | None = None,
        start: float = 0.0,
        speed: float = 1.0,
    ) -> None:
        if speed <= 0:
            raise ValueError(f"speed is {speed}; it must be more than 0")
        self.frames = 0
        self.wanted = 0
        self.foreign = 0
        self.finished = False
        self._source: Iterator[tuple[str, Frame]] = iter(frames)
        self._tables = tables
        self._roles = roles or {}
        self._start = start
        self._speed = speed
        self._first_at: float | None = None
        self._next: tuple[str, Frame] | None = None
        self._fetch()

    def due(self) -> float | None:
        """Return when the next frame is due, in monotonic seconds; None once it has finished."""
        return None if self._next is None else self._time_of(self._next[1])

    def advance(self, now: float) -> int:
        """Play every frame that is due, each with its own time; return how many."""
        before = self.frames
        while self._next is not None and (at := self._time_of(self._next[1])) <= now:
            role, frame = self._next
            self._play(role, frame, at)
            self._fetch()
        return self.frames - before

    def rest(self) -> int:
        """Play all that is left at once, each frame with its own time; return how many."""
        return self.advance(float("inf"))

    def _time_of(self, frame: Frame) -> float:
        return self._start + (frame.at - (self._first_at or 0.0)) / self._speed

    def _play(self, role: str, frame: Frame, at: float) -> None:
        self.frames += 1
        table = self._tables.get(self._roles.get(role, role))
        if table is None or frame.error or frame.remote or frame.fd:
            self.foreign += 1
            return
        handler: Handler | None = table.get(frame.key)
        if handler is not None:
            self.wanted += 1
            handler(frame.data, at)

    def _fetch(self) -> None:
        self._next = next(self._source, None)
        self.finished = self._next is None
        if self._first_at is None and self._next is not None:
            self._first_at = self._next[1].at


async def play(replay: Replay) -> None:
    """Play to the end by the running loop's clock; frames a few milliseconds apart share a turn of the loop."""
    loop = asyncio.get_running_loop()
    while (due := replay.due()) is not None:
        await asyncio.sleep(max(0.0, due - loop.time()))
        replay.advance(loop.time() + _AT_A_TIME_S)
