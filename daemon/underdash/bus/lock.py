"""One owner of a bus: a lock on a file per interface, which the system lifts when its process ends, however it ends."""

from __future__ import annotations

import contextlib
import fcntl
import os
import re
from pathlib import Path
from types import TracebackType

from .port import PortBusyError, PortRightsError


class BusLock:
    """Ownership of one interface.

    Args:
        interface: "can0", or the place of another adapter.
        directory: where the lock files are; made if it is missing.
    """

    def __init__(self, interface: str, directory: Path) -> None:
        self._interface = interface
        self._path = directory / (re.sub(r"[^A-Za-z0-9._-]+", "_", interface).strip("_") + ".lock")
        self._file: int | None = None

    def acquire(self) -> None:
        """Become the owner; harmless if we are it already.

        Raises:
            PortBusyError: another process is; it is named.
            PortRightsError: the lock file cannot be written.
        """
        if self._file is not None:
            return
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            opened = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as exc:
            raise PortRightsError(
                f"the lock {self._path} of {self._interface} cannot be written ({exc.strerror}); "
                "set RUNTIME_DIRECTORY to a directory that can"
            ) from exc
        try:
            fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as exc:
            holder = os.read(opened, 32).decode("ascii", "replace").strip()
            os.close(opened)
            raise PortBusyError(
                f"interface {self._interface} is in use by process {holder or 'unknown'}; end it, "
                "or ask the running daemon instead"
            ) from exc
        os.ftruncate(opened, 0)
        os.pwrite(opened, f"{os.getpid()}\n".encode(), 0)
        self._file = opened

    def release(self) -> None:
        """Give it up. The file stays: removing it would let two owners hold two files of one name."""
        if self._file is not None:
            with contextlib.suppress(OSError):
                os.ftruncate(self._file, 0)
            os.close(self._file)
            self._file = None

    def __enter__(self) -> BusLock:
        self.acquire()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()
