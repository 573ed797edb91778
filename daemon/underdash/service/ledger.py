"""The crash ledger: which of its earlier lives since the machine was started ended badly, and in whose code.

It lives in the runtime directory, in memory. That outlives the process whatever ends it, SIGKILL included, wears no
card, and is gone with the power, as it should be: a start after the power was cut, while cranking for one, is no crash.
Where the directory is on a disk, the kernel's boot id tells the same. A life that ends in order leaves no ledger, so
whoever restarts the service by hand begins anew.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import signal
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from traceback import extract_tb
from types import FrameType
from typing import Any

import structlog

from .witness import ABORTED, STILL, Frame, Witness, read

_log = structlog.get_logger()

CRASHES = 3
WINDOW_S = 600.0
MOST_KEPT = 20
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
LEDGER, WITNESS, END = "ledger.json", "hang.txt", "end.txt"
"""What is kept of lives; what faulthandler wrote; how a life ended by the service manager, which the unit keeps."""

Threads = tuple[tuple[Frame, ...], ...]
Owner = Callable[[str], str]
"""Says whose code a file is: the name of a plug-in, or ""."""


@dataclass(frozen=True, slots=True)
class BadEnd:
    """One life that ended badly: noticed at `at` (monotonic s), how, in whose code ("" where that is not known)."""

    at: float
    how: str
    plugin: str = ""
    frames: tuple[Frame, ...] = field(default=(), compare=False)

    @property
    def sentence(self) -> str:
        """How it ended."""
        if not self.plugin:
            return self.how
        if not self.frames:
            return f"{self.how}; plug-in {self.plugin} is suspected"
        return f"{self.how} in {self.frames[0].function}() of plug-in {self.plugin}"

    @property
    def word(self) -> str:
        """The same of a plug-in, in a word or two."""
        short = {"stood": "hung", "crashed": "crashed", "raised": "failed"}
        return short.get(self.how.partition(" ")[0], "took too much memory" if "memory" in self.how else "ended it")


def blame(threads: Threads, owner: Owner) -> tuple[str, tuple[Frame, ...]]:
    """Return whose code was running, and its frames in that thread, the newest first; "" if it was nobody's."""
    for thread in threads:
        for frame in thread:
            name = owner(frame.file)
            if name:
                return name, tuple(one for one in thread if owner(one.file) == name)
    return "", ()


def crowded(bad: Iterable[BadEnd], now: float) -> bool:
    """Say whether so many lives ended badly lately that safe mode is due."""
    return sum(now - one.at <= WINDOW_S for one in bad) >= CRASHES


class Ledger:
    """The book of one life.

    Args:
        folder: the runtime directory; made if it is missing.
        owner: see `Owner`.
        boot: identifies this start of the machine.
        now: monotonic s.

    Attributes:
        bad: earlier lives that ended badly, oldest first.
        witness: writes down where this life stands still; None where that cannot be.
    """

    def __init__(self, folder: Path, owner: Owner, *, boot: str | None = None, now: float | None = None) -> None:
        self._path, self._hang, self._end = folder / LEDGER, folder / WITNESS, folder / END
        self._boot = _boot_id() if boot is None else boot
        self._owner = owner
        self.bad: tuple[BadEnd, ...] = ()
        self.witness: Witness | None = None
        self._lock: int | None = None
        self._suspected: tuple[str, str] = "", ""
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._begin(time.monotonic() if now is None else now)
        except OSError as exc:  # a gauge without a ledger is better than none
            _log.warning("no_ledger", error=str(exc))

    @property
    def open(self) -> bool:
        """Whether this life is written down; not while another process has the book."""
        return self._lock is not None

    def close(self, *, forget: bool) -> None:
        """Write down that this life ended in order, or with an error that was told.

        Args:
            forget: a person or the system asked for the end; then nothing of earlier lives is held against the next.
        """
        if not self.open:
            return
        if self.witness is not None:
            self.witness.close()
            self.witness = None
        with contextlib.suppress(OSError):
            if self.bad and not forget:
                self._write(living=False)
            else:
                self._path.unlink(missing_ok=True)
            self._hang.unlink(missing_ok=True)
        self._release()
        with contextlib.suppress(OSError):
            self._path.parent.rmdir()  # only if nothing else is in it

    def crashed(self, exc: BaseException) -> None:
        """Write down that this life ended by an exception that nobody expected."""
        frames = [Frame(one.filename, one.lineno or 0, one.name) for one in reversed(extract_tb(exc.__traceback__))]
        name, own = blame((tuple(frames),), self._owner)
        self._end_with(BadEnd(time.monotonic(), f"raised {type(exc).__name__}", name, own))

    def ended(self, how: str, plugin: str) -> None:
        """Write down that this life ends itself, badly; `plugin` is suspected, "" where nobody is."""
        self._end_with(BadEnd(time.monotonic(), how, plugin))

    def suspect(self, what: str, plugin: str) -> None:
        """Write down what may be the end of this life, for one that ends without a word."""
        self._suspected = what, plugin
        with contextlib.suppress(OSError):
            self._write(living=True)

    @contextlib.contextmanager
    def told_to_end(self) -> Any:
        """Let a SIGTERM that comes before the loop listens for it be no bad end either."""

        def end(number: int, frame: FrameType | None) -> None:
            self.close(forget=True)
            if callable(before):
                before(number, frame)
            signal.signal(number, signal.SIG_DFL)
            os.kill(os.getpid(), number)

        before = signal.signal(signal.SIGTERM, end)
        try:
            yield
        finally:
            signal.signal(signal.SIGTERM, before)

    def _end_with(self, end: BadEnd) -> None:
        self.bad = (*self.bad, end)
        _log.error("ends_badly", how=end.sentence)
        self.close(forget=False)

    # --- the file -----------------------------------------------------------------------------------------------

    def _begin(self, now: float) -> None:
        file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:  # another daemon's; it says so itself where that matters
            os.close(file)
            return
        self._lock = file
        table = _read(self._path)
        if table.get("boot") == self._boot:
            self.bad = _bad(table)
            if table.get("living") is True:
                self._note(now, table.get("suspected"))
        self._end.unlink(missing_ok=True)
        self._write(living=True)
        self.witness = Witness(self._hang)

    def _note(self, now: float, suspected: object) -> None:
        how, threads = read(_text(self._hang))
        name, frames = blame(threads, self._owner)
        seen = ending(_text(self._end))
        if how == ABORTED and seen == STILL:  # the service manager did it, before that could be written down
            how = STILL
        elif not how:
            how = seen
            if isinstance(suspected, list) and len(suspected) == 2 and suspected[0]:
                how, name = f"{how}, after {suspected[0]}", str(suspected[1])
        ended = BadEnd(now, how, name, frames)
        self.bad = (*self.bad, ended)[-MOST_KEPT:]
        _log.error("ended_badly", how=ended.sentence, lives=len(self.bad))

    def _write(self, *, living: bool) -> None:
        """Write in place: it is a few hundred bytes in memory, and one that was cut off counts as none."""
        if self._lock is None:
            return
        bad = [asdict(one) for one in self.bad]
        table = {"boot": self._boot, "living": living, "bad": bad, "suspected": self._suspected}
        text = json.dumps(table).encode()
        os.ftruncate(self._lock, 0)
        os.pwrite(self._lock, text, 0)

    def _release(self) -> None:
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None


def ending(text: str) -> str:
    """Say how a life ended of which only the service manager knows.

    Args:
        text: its SERVICE_RESULT and EXIT_STATUS (systemd.exec(5)), or "".
    """
    result, _, status = text.strip().partition(" ")
    if result == "oom-kill":
        return "took too much memory, and the kernel ended it"
    if result == "exit-code":
        return f"left with status {status}, without a word"
    if result in ("signal", "core-dump"):
        return f"was ended by SIG{status}"
    return STILL if result in ("watchdog", "timeout") else "was killed, or left without a word"


def _boot_id() -> str:
    return _text(BOOT_ID).strip()


def _text(path: Path) -> str:
    try:
        return path.read_text(errors="replace")
    except OSError:
        return ""


def _read(path: Path) -> dict[str, Any]:
    try:
        table = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    return table if isinstance(table, dict) else {}


def _bad(table: dict[str, Any]) -> tuple[BadEnd, ...]:
    found = []
    for one in table.get("bad", ()):
        try:
            frames = tuple(Frame(str(f["file"]), int(f["line"]), str(f["function"])) for f in one["frames"])
            found.append(BadEnd(float(one["at"]), str(one["how"]), str(one["plugin"]), frames))
        except (KeyError, TypeError, ValueError):
            continue
    return tuple(found[-MOST_KEPT:])
