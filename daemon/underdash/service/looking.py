"""Looks at things of the machine in a thread of its own, since a file of the kernel or of a card may take its time."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Generic, TypeVar

import structlog

_log = structlog.get_logger()
T = TypeVar("T")
END_S = 1.0


class Looking(Generic[T]):
    """Calls something again and again and keeps what it said last.

    Args:
        look: what is called, in the thread.
        every_s: seconds between.
        taken: called with each answer, in the thread.
    """

    def __init__(self, look: Callable[[], T], every_s: float, taken: Callable[[T], None]) -> None:
        self._look = look
        self._every_s = every_s
        self._taken = taken
        self._ended = threading.Event()
        self._thread: threading.Thread | None = None
        self._failure = ""

    def once(self) -> None:
        """Look now; a failure is logged once and ends nothing."""
        try:
            self._taken(self._look())
            self._failure = ""
        except Exception as exc:
            if repr(exc) != self._failure:
                self._failure = repr(exc)
                _log.warning("machine_not_read", error=self._failure)

    def start(self) -> None:
        """Begin."""
        self._thread = threading.Thread(target=self._run, name="machine", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End; a look that does not come back is left behind."""
        self._ended.set()
        if self._thread is not None:
            self._thread.join(END_S)

    def _run(self) -> None:
        while not self._ended.is_set():
            self.once()
            self._ended.wait(self._every_s)
