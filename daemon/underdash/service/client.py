"""A command's end of the daemon's socket: asks, waits no longer than a given time, and says what went wrong."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

from ..contract.errors import GivenError, UnderdashError
from .messages import MOST_ANSWER_BYTES, STOP, Lines, Reply, Request, read_reply, request_line

TIMEOUT_S = 5.0
READ_BYTES = 65_536


class NoDaemonError(UnderdashError):
    """No daemon runs here."""


class DaemonError(UnderdashError):
    """The daemon does not answer, or has ended."""


class Client:
    """A connection to the daemon; close it, or use it in a `with`.

    Args:
        connected: a connected stream socket.
        timeout_s: longest wait for an answer.
    """

    def __init__(self, connected: socket.socket, timeout_s: float = TIMEOUT_S) -> None:
        self._socket = connected
        self._timeout_s = timeout_s
        self._lines = Lines(MOST_ANSWER_BYTES)
        self._replies: list[Reply] = []

    @classmethod
    def connect(cls, paths: Iterable[Path], timeout_s: float = TIMEOUT_S) -> Client:
        """Connect to the first daemon that listens at one of these places.

        Raises:
            NoDaemonError: there is none.
            DaemonError: there is one that this user may not talk to.
        """
        for path in paths:
            end = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
            end.settimeout(timeout_s)
            try:
                end.connect(str(path))
            except PermissionError as exc:
                end.close()
                raise DaemonError(
                    f"the daemon's socket {path} belongs to {_owner(path)}; run this command as that user, with sudo"
                ) from exc
            except BlockingIOError as exc:
                end.close()
                raise DaemonError("the daemon has more commands waiting than it takes in; try again") from exc
            except OSError:  # not there, left over, or a path that is too long to be one
                end.close()
                continue
            return cls(end, timeout_s)
        raise NoDaemonError("no daemon runs; start it with underdash run, or as a service (systemd/README.md)")

    def ask(self, ask: str, given: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """Ask, and return the only answer.

        Raises:
            DaemonError: it did not come.
            UnderdashError: the daemon says why not.
        """
        self.begin(ask, given)
        while True:
            reply = self.next(self._timeout_s)
            if reply is not None and reply.last:
                return dict(reply.table)
            if reply is None:
                raise DaemonError(f"the daemon did not answer within {self._timeout_s:g} s; its log may say why")

    def begin(self, ask: str, given: Mapping[str, Any] | None = None, files: Sequence[int] = ()) -> None:
        """Ask for something that goes on; `files` are open file descriptors the daemon gets along with it."""
        line = request_line(Request(ask, given or {}))
        try:
            if files:
                done = socket.send_fds(self._socket, [line], list(files))
                line = line[done:]
            self._socket.sendall(line)
        except OSError as exc:
            raise DaemonError(f"the daemon does not listen ({exc.strerror or exc}); is it being stopped?") from exc

    def stop(self) -> None:
        """Ask for the end of what goes on; its last answer still comes."""
        self.begin(STOP)

    def next(self, within_s: float) -> Reply | None:
        """Return the next answer, or None if there is none within a time.

        Raises:
            DaemonError: the daemon has ended.
            UnderdashError: the daemon says why not.
        """
        until = time.monotonic() + within_s
        while not self._replies:
            left = until - time.monotonic()
            if left <= 0:
                return None
            self._socket.settimeout(left)
            try:
                data = self._socket.recv(READ_BYTES)
            except TimeoutError:
                return None
            except OSError as exc:
                raise DaemonError(f"the daemon is gone ({exc.strerror or exc})") from exc
            if not data:
                raise DaemonError("the daemon has ended; its log may say why")
            self._replies += [read_reply(line) for line in self._lines.feed(data)]
        reply = self._replies.pop(0)
        if reply.error:
            raise (GivenError if reply.status == GivenError.exit_status else UnderdashError)(reply.error)
        return reply

    def close(self) -> None:
        """Hang up."""
        self._socket.close()

    def __enter__(self) -> Client:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _owner(path: Path) -> str:
    try:
        return f"user {path.owner()}"
    except (OSError, KeyError):
        return "another user"
