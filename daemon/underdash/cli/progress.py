"""A bar that shows how far something is, on a terminal and only if it takes long."""

from __future__ import annotations

import os
import shutil
import sys
import time
from collections.abc import Callable
from typing import Self, TextIO

FROM_S = 0.5
AGAIN_S = 0.1
CELLS, LEAST_CELLS = 30, 5


def redraws(stream: TextIO | None) -> bool:
    """Say whether a stream is a terminal on which a line can be drawn over; one that is called "dumb" only appends."""
    return stream is not None and stream.isatty() and os.environ.get("TERM") != "dumb"


def drawn(what: str, share: float, columns: int) -> str:
    """Draw a bar that fits on one line, since a second one would not be wiped; the bar goes before the words."""
    end = f" {100 * share:3.0f} %"
    room = columns - 1 - len(end)
    cells = min(CELLS, room - len(what) - 3)
    if cells < LEAST_CELLS:
        return f"{what[: max(0, room)]}{end}"
    full = round(cells * min(1.0, max(0.0, share)))
    return f"{what} |{'=' * full}{' ' * (cells - full)}|{end}"


class Progress:
    """Called with a share from 0 to 1; draws on one line of the terminal and wipes it at the end.

    Args:
        what: is being done, such as ``reading drive.log``.
        terminal: where to draw; nothing is drawn where it is none.
        clock: seconds.
    """

    def __init__(self, what: str, terminal: TextIO | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self._what, self._clock = what, clock
        self._terminal = sys.stderr if terminal is None else terminal
        self._on_terminal = redraws(self._terminal)
        self._next = clock() + FROM_S
        self._drawn = False

    def __call__(self, share: float) -> None:
        """Take how far it is, and draw that if it is time to."""
        now = self._clock()
        if not self._on_terminal or now < self._next:
            return
        self._next = now + AGAIN_S
        self._drawn = True
        self._terminal.write("\r" + drawn(self._what, share, shutil.get_terminal_size().columns))
        self._terminal.flush()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._drawn:
            self._terminal.write("\r\x1b[K")
            self._terminal.flush()
