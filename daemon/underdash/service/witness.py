"""What every thread was doing when the process hung or crashed, written down by Python's faulthandler.

It works where Python code no longer can: inside a C function that keeps the interpreter's lock, in a segmentation
fault, and on the SIGABRT by which the service manager ends a service that does not feed its watchdog. It costs nothing
while all goes well: a timer is set anew with every heartbeat, and only one that was not set anew in time writes.
"""

from __future__ import annotations

import contextlib
import faulthandler
import os
import re
import sys
from dataclasses import dataclass
from pathlib import Path

_FRAME = re.compile(r'^\s+File "(?P<file>[^"]*)", line (?P<line>\d+) in (?P<function>.+)$')
MOST_FRAMES = 40
ABORTED, STILL = "crashed (Aborted)", "stood still"
START_S = 30.0


@dataclass(frozen=True, slots=True)
class Frame:
    """A place in code."""

    file: str
    line: int
    function: str


def read(text: str) -> tuple[str, tuple[tuple[Frame, ...], ...]]:
    """Read what faulthandler wrote.

    Returns:
        How it came to that, in words, "" where it wrote nothing; and the frames of each thread, newest first.
    """
    threads: list[list[Frame]] = []
    for line in text.splitlines():
        found = _FRAME.match(line)
        if found is None:
            if "hread" in line and line.endswith(":"):
                threads.append([])
            continue
        if threads and len(threads[-1]) < MOST_FRAMES:
            threads[-1].append(Frame(found["file"], int(found["line"]), found["function"]))
    return _how(text), tuple(tuple(frames) for frames in threads if frames)


def _how(text: str) -> str:
    fatal = re.search(r"^Fatal Python error: (.+)$", text, re.MULTILINE)
    # the service manager aborts what stands still, and that has been written down before; libraries in C abort at once
    if fatal is not None and (fatal[1] != "Aborted" or not text[: fatal.start()].strip()):
        return f"crashed ({fatal[1]})"
    return STILL if text.strip() else ""


class Witness:
    """Writes into a file.

    Args:
        path: made anew.
        after_s: if nothing is heard for so long it writes.
    """

    def __init__(self, path: Path, after_s: float = START_S) -> None:
        # append: what was emptied is written from its beginning
        self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND | os.O_CLOEXEC, 0o600)
        self._before = faulthandler.is_enabled()
        faulthandler.enable(self._file)
        self.alive(after_s)

    def alive(self, after_s: float) -> None:
        """Take note that all goes well, and write in `after_s` unless this comes again; what was written is void."""
        if os.fstat(self._file).st_size:
            os.ftruncate(self._file, 0)
        faulthandler.dump_traceback_later(after_s, file=self._file)

    def still(self) -> None:
        """Take note that a part stands still while the loop goes on, and will be ended for that."""
        faulthandler.cancel_dump_traceback_later()
        os.ftruncate(self._file, 0)
        faulthandler.dump_traceback(self._file)

    def close(self) -> None:
        """End."""
        faulthandler.cancel_dump_traceback_later()
        faulthandler.disable()
        if self._before and sys.__stderr__ is not None:
            with contextlib.suppress(OSError, ValueError):
                faulthandler.enable(sys.__stderr__)
        os.close(self._file)
