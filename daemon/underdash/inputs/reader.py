"""Reads what may take long, one after the other in one thread: a 1-Wire thermometer needs up to 750 ms."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from math import inf

from ..contract.errors import UnderdashError
from .channels import Channel

Taken = Callable[[str, float | UnderdashError, float], None]
"""Called with (input's name, what was measured or why nothing was, monotonic s at which the reading began)."""
END_S = 1.0


@dataclass(slots=True)
class _Due:
    name: str
    channel: Channel
    period_s: float
    at: float = -inf


@dataclass(slots=True)
class Reader:
    """The channels and their thread.

    Args:
        clock: monotonic seconds.
        taken: see `Taken`; called in the thread.
    """

    clock: Callable[[], float]
    taken: Taken
    busy: tuple[str, float] | None = None
    """The input that is being read, and since when."""
    _due: list[_Due] = field(default_factory=list)
    _ended: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def add(self, name: str, channel: Channel, period_s: float) -> None:
        """Read one more channel."""
        self._due = [*self._due, _Due(name, channel, period_s)]  # the thread is perhaps going through the old one

    def drop(self, name: str) -> None:
        """Read a channel no more; one that is being read just now may give one more value."""
        self._due = [one for one in self._due if one.name != name]

    def step(self) -> float:
        """Read what is due, and return the seconds until something is again."""
        for one in self._due:
            now = self.clock()
            if now < one.at or self._ended.is_set():
                continue
            one.at = now + one.period_s
            self.busy = one.name, now
            try:
                found: float | UnderdashError = one.channel.read()
            except UnderdashError as exc:
                found = exc
            self.busy = None
            self.taken(one.name, found, now)
        return max(0.0, min((one.at for one in self._due), default=inf) - self.clock())

    def start(self) -> None:
        """Begin, where there is anything to read."""
        if self._due and self._thread is None:
            self._thread = threading.Thread(target=self._run, name="inputs", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """End; a reading that does not come back is left behind."""
        self._ended.set()
        if self._thread is not None:
            self._thread.join(END_S)

    def _run(self) -> None:
        while not self._ended.is_set():
            self._ended.wait(self.step())
