"""Whether this process takes more and more memory, and whose code holds what came.

What it takes is counted without the files it shares with others (proc_pid_statm(5)). Whose it is, is found by
tracemalloc, which slows Python down and so runs only once the process is large, and only for a while. It sees what
Python allocates; what a library in C keeps for itself is nobody's, and that is said.
"""

from __future__ import annotations

import os
import tracemalloc
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Protocol

STATM = Path("/proc/self/statm")
MB = 1 << 20
LARGE, TOO_LARGE = 0.25, 0.4
"""Shares of the machine's memory; the unit has the kernel end us at half of it."""
LEAST_MB = 96.0
"""Two buses and several panels take half of this."""
ADDED_MB = 12.0
"""So much has to come while it is traced before anybody is blamed; tracing itself takes some of it."""
TRACED_S = 120.0
FRAMES = 8


class Tracer(Protocol):
    """Sees who allocates."""

    def begin(self) -> None:
        """Begin to trace, or begin anew: what came before does not count."""

    def end(self) -> Mapping[str, float]:
        """End, and return the MB that came since and are still held, by plug-in; "" for what is nobody's."""


@dataclass(frozen=True, slots=True)
class Grown:
    """The process takes `used_mb`, and more came: `added_mb` within `within_s`, held by `plugin` ("" if not known).

    Without `judged` it has only become large, and who holds what comes is looked for from now on.
    """

    used_mb: float
    added_mb: float = 0.0
    within_s: float = 0.0
    plugin: str = ""
    too_large: bool = False
    judged: bool = True

    @property
    def sentence(self) -> str:
        """Say it."""
        return f"took {self.added_mb:.0f} MB more within {self.within_s:.0f} s, {self.used_mb:.0f} MB by now"


class Growth:
    """Judges look by look.

    Args:
        tracer: sees who allocates.
        machine_mb: the machine's memory.
    """

    def __init__(self, tracer: Tracer, machine_mb: float) -> None:
        self._tracer = tracer
        self._large_mb = max(LEAST_MB, LARGE * machine_mb)
        self._too_large_mb = self._large_mb * TOO_LARGE / LARGE
        self._began: tuple[float, float] | None = None
        self._anew = False

    def anew(self) -> None:
        """Count from the next look on; called from any thread.

        A description that is read again has plug-ins bring their own again, which looks as if they took more: what went
        for it is older than the trace.
        """
        self._anew = True

    def look(self, used_mb: float, now: float) -> Grown | None:
        """Take note of what the process takes at a monotonic time; returns what there is to say."""
        if self._anew and self._began is not None:
            self._begin(used_mb, now)
        if used_mb >= self._too_large_mb:
            return self._judged(used_mb, now, too_large=True)
        if self._began is None:
            if used_mb < self._large_mb:
                return None
            self._begin(used_mb, now)
            return Grown(used_mb, judged=False)
        from_mb, at = self._began
        if used_mb - from_mb < ADDED_MB and now - at < TRACED_S:
            return None
        found = self._judged(used_mb, now)
        self._large_mb = used_mb + ADDED_MB  # not again before more has come
        return found if used_mb - from_mb >= ADDED_MB else None

    def _begin(self, used_mb: float, now: float) -> None:
        self._anew = False
        self._began = used_mb, now
        self._tracer.begin()

    def _judged(self, used_mb: float, now: float, *, too_large: bool = False) -> Grown:
        from_mb, at = self._began or (used_mb, now)
        held = self._tracer.end() if self._began is not None else {}
        self._began = None
        added_mb = used_mb - from_mb
        most = max((name for name in held if name), key=lambda name: held[name], default="")
        plugin = most if most and held[most] >= added_mb / 2 and added_mb > 0 else ""
        return Grown(used_mb, added_mb, now - at, plugin, too_large)


class Tracemalloc:
    """`Tracer` by Python's own.

    Args:
        owner: whose code a file is, "" for nobody's.
    """

    def __init__(self, owner: Callable[[str], str]) -> None:
        self._owner = cache(owner)  # each of thousands of allocations is asked about, and looking up paths takes long

    def begin(self) -> None:
        """See `Tracer`."""
        tracemalloc.stop()
        tracemalloc.start(FRAMES)

    def end(self) -> Mapping[str, float]:
        """See `Tracer`."""
        if not tracemalloc.is_tracing():
            return {}
        taken = tracemalloc.take_snapshot()
        tracemalloc.stop()
        held: Counter[str] = Counter()
        for trace in taken.traces:
            held[self._whose(frame.filename for frame in reversed(trace.traceback))] += trace.size
        return {name: size / MB for name, size in held.items()}

    def _whose(self, files: Iterable[str]) -> str:
        return next(filter(None, map(self._owner, files)), "")


def used_mb(statm: Path = STATM) -> float:
    """Return what this process takes for itself, in MB; raises OSError where the kernel does not say."""
    _, resident, shared, *_ = map(int, statm.read_text().split())
    return (resident - shared) * os.sysconf("SC_PAGE_SIZE") / MB


def machine_mb() -> float:
    """Return the machine's memory in MB."""
    return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / MB
