"""A trace played back at any speed, by any clock.

Pure: whoever owns a `Replay` says what time it is. `playing.py` makes a port of one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from .frames import Frame


class Replay:
    """Frames of one bus on their way out of a trace.

    Args:
        frames: (role or channel, frame) in the order of time, as `trace.read_trace` gives them.
        channel: the bus that is played; what belongs to others is passed over.
        start: monotonic seconds at which the trace's first frame is due, whatever bus it belongs to.
        speed: 2.0 is twice as fast as it was.

    Attributes:
        frames: how many were played.
        finished: there are no more.

    Raises:
        ValueError: the speed is not above 0.
    """

    def __init__(
        self, frames: Iterable[tuple[str, Frame]], channel: str, *, start: float = 0.0, speed: float = 1.0
    ) -> None:
        if speed <= 0:
            raise ValueError(f"speed is {speed}; it must be more than 0")
        self.frames = 0
        self.finished = False
        self._source: Iterator[tuple[str, Frame]] = iter(frames)
        self._channel = channel
        self._start = start
        self._speed = speed
        self._first_at: float | None = None
        self._next: Frame | None = None
        self._fetch()

    def due(self) -> float | None:
        """Return when the next frame is due, in monotonic seconds; None once it has finished."""
        return None if self._next is None else self._time_of(self._next)

    def advance(self, now: float, most: int | None = None) -> list[Frame]:
        """Return the frames that are due, `most` at once, each stamped with the time it was due."""
        played: list[Frame] = []
        while self._next is not None and len(played) != most and (at := self._time_of(self._next)) <= now:
            played.append(replace(self._next, at=at))
            self._fetch()
        self.frames += len(played)
        return played

    def _time_of(self, frame: Frame) -> float:
        return self._start + (frame.at - (self._first_at or 0.0)) / self._speed

    def _fetch(self) -> None:
        self._next = None
        for channel, frame in self._source:
            if self._first_at is None:
                self._first_at = frame.at
            if channel == self._channel:
                self._next = frame
                return
        self.finished = True
