"""A line that is moved by hand, for tests and for boards that are not there."""

from __future__ import annotations

import os
from errno import ENODEV

from ..contract.errors import UnderdashError


class FakeLine:
    """Stands in for a GPIO line; its descriptor is a pipe's, so a real loop wakes up by it.

    Args:
        on: level at first.
    """

    def __init__(self, on: bool = False) -> None:
        self._on = on
        self._changes: list[tuple[bool, float]] = []
        self._reads, self._writes = os.pipe()
        self.gone = False
        self.closed = False

    def move(self, on: bool, at: float) -> None:
        """Change the level at a monotonic time; an edge is told of."""
        self._on = on
        self._changes.append((on, at))
        os.write(self._writes, b"x")

    def move_unseen(self, on: bool) -> None:
        """Change the level without an edge, as when one was lost."""
        self._on = on

    def fileno(self) -> int:
        """Return the descriptor that is readable while changes wait."""
        return self._reads

    def changes(self) -> list[tuple[bool, float]]:
        """Return the changes since the last call."""
        self._check()
        if self._changes:
            os.read(self._reads, len(self._changes))
        found, self._changes = self._changes, []
        return found

    def on(self) -> bool:
        """Return the level."""
        self._check()
        return self._on

    def close(self) -> None:
        """Close the pipe."""
        if not self.closed:
            self.closed = True
            os.close(self._reads)
            os.close(self._writes)

    def _check(self) -> None:
        if self.closed:
            raise UnderdashError("this line was closed")
        if self.gone:
            raise OSError(ENODEV, os.strerror(ENODEV))


class FakeOutput:
    """Stands in for a line that is driven; `levels` has what it was driven to, None once it is given back."""

    def __init__(self, on: bool = False) -> None:
        self.levels: list[bool | None] = [on]

    def set(self, on: bool) -> None:
        """Drive it."""
        self.levels.append(on)

    def close(self) -> None:
        """Give it back."""
        self.levels.append(None)
