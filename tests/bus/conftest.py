"""What the tests of this room listen with; a test asks for it by name and imports the class only for its type."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest

from underdash.bus.errors import ErrorFrame
from underdash.bus.port import PortError, Tap


class Recorder:
    """Events that are kept, and can be waited for."""

    def __init__(self) -> None:
        self.tap: Tap | None = None
        self.frames = 0
        self.turns = 0
        self.others = 0
        self.openings = 0
        self.lost_total = 0
        self.samples: list[tuple[int, bytes]] = []
        self.errors: list[ErrorFrame] = []
        self.failures: list[PortError] = []
        self._changed = asyncio.Event()

    def opened(self, at: float) -> None:
        self.openings += 1
        self._changed.set()

    def received(self, count: int, at: float) -> None:
        self.frames += count
        self.turns += 1
        self._changed.set()

    def sampled(self, key: int, data: bytes) -> None:
        self.samples.append((key, data))

    def error_frame(self, error: ErrorFrame, at: float) -> None:
        self.errors.append(error)
        self._changed.set()

    def foreign(self, count: int, at: float) -> None:
        self.others += count
        self._changed.set()

    def lost(self, total: int, at: float) -> None:
        self.lost_total = total
        self._changed.set()

    def failed(self, error: PortError, at: float) -> None:
        self.failures.append(error)
        self._changed.set()

    async def until(self, holds: Callable[[], object]) -> None:
        """Wait until something is true, for ten seconds at most."""
        async with asyncio.timeout(10):
            while not holds():
                self._changed.clear()
                await self._changed.wait()


class Taken:
    """A handler that keeps what it gets."""

    def __init__(self) -> None:
        self.data: list[bytes] = []
        self.times: list[float] = []

    def __call__(self, data: bytes, at: float) -> None:
        self.data.append(data)
        self.times.append(at)


@pytest.fixture
def recorder() -> Recorder:
    return Recorder()


@pytest.fixture
def taken() -> Taken:
    return Taken()
