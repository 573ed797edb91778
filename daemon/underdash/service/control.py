"""The daemon's socket: other commands ask through it, so that one process owns the buses.

Everything here runs on the daemon's loop and never waits: a client that does not read, does not finish its line or has
died is dropped once its allowance is used up. What can be asked for is a table of handlers, see `Handler`.
"""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import os
import socket
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import structlog

from ..contract.errors import UnderdashError
from .messages import MOST_ANSWER_BYTES, MOST_REQUEST_BYTES, STOP, Lines, MessageError, Reply, failure, read_request
from .messages import reply_line as spelt

_log = structlog.get_logger()

MOST_CLIENTS = 16
IDLE_S = 30.0
"""A client that has nothing open and says nothing for this long is dropped."""
PAUSE_S = 1.0
"""Until the next try to take somebody in, after one that failed."""
MOST_PATH_BYTES = 107
"""The longest path of a socket (sun_path of unix(7), less its final zero)."""
READ_BYTES = 65_536
MOST_FILES = 1


class ControlError(UnderdashError):
    """The socket cannot be had."""


class RunsAlreadyError(ControlError):
    """Another daemon owns the socket."""


class Conversation:
    """A request that is being answered.

    Attributes:
        given: what came with it.
        on_end: set by a handler that answers later: called once, with True if the client is gone, with False if it
            asks to stop and waits for the last answer.

    A handler that answers later keeps this, and calls `more` as often as it likes and `done` once.
    """

    def __init__(self, client: _Client, ask: str, given: Mapping[str, Any], files: list[int]) -> None:
        self.ask = ask
        self.given = given
        self.on_end: Callable[[bool], None] = _nothing
        self.open = True
        self._client = client
        self._files = files

    def take_file(self) -> int | None:
        """Return the file descriptor that came with the request, which is the caller's from now on."""
        return self._files.pop(0) if self._files else None

    def more(self, table: Mapping[str, Any]) -> None:
        """Tell something on the way."""
        if self.open:
            self._client.tell(Reply(table, last=False))

    def done(self, table: Mapping[str, Any]) -> None:
        """Give the last answer."""
        self._finish(Reply(table))

    def failed(self, exc: BaseException) -> None:
        """Say that it could not be done."""
        self._finish(failure(exc))

    def _finish(self, reply: Reply) -> None:
        if self.open:
            self.close()
            self._client.tell(reply)

    def close(self) -> None:
        """End without an answer; a file that nobody took is closed."""
        self.open = False
        while self._files:
            os.close(self._files.pop())


Handler = Callable[[Conversation], Mapping[str, Any] | None]
"""Answers a request: returns the answer, or None if it will answer later; raises what cannot be done."""


class Control:
    """The listening end.

    Args:
        path: of the socket.
        handlers: by what is asked for; it may be added to while this runs.
        loop: the daemon's.
    """

    def __init__(self, path: Path, handlers: Mapping[str, Handler], loop: asyncio.AbstractEventLoop) -> None:
        self.handlers = handlers
        self.loop = loop
        self.path = path
        self._clients: set[_Client] = set()
        self._lock: int | None = None
        self._socket: socket.socket | None = None

    def open(self) -> None:
        """Begin to listen.

        Raises:
            RunsAlreadyError: another daemon owns the socket.
            ControlError: it cannot be made here.
        """
        check_path(self.path)
        try:
            self._lock = _owned(self.path)
            self._socket = _listening(self.path)
        except OSError as exc:
            self.close()
            raise ControlError(
                f"the daemon's socket {self.path} cannot be made ({exc.strerror or exc}); set RUNTIME_DIRECTORY to a "
                "directory that can be written"
            ) from exc
        self._listen()

    def close(self) -> None:
        """End; harmless if called twice."""
        for client in tuple(self._clients):
            client.close()
        if self._socket is not None:
            self.loop.remove_reader(self._socket.fileno())
            self._socket.close()
            self._socket = None
            with contextlib.suppress(OSError):
                self.path.unlink()
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def dropped(self, client: _Client) -> None:
        """Take note that a client has gone."""
        self._clients.discard(client)

    def _listen(self) -> None:
        if self._socket is not None:
            self.loop.add_reader(self._socket.fileno(), self._accept)

    def _accept(self) -> None:
        if self._socket is None:
            return
        try:
            connected, _ = self._socket.accept()
        except OSError as exc:  # it has gone again, or there are no descriptors left
            _log.warning("control_not_accepted", error=exc.strerror or str(exc))
            # who waits goes on waiting: looking again at once would keep the processor busy until there are some
            self.loop.remove_reader(self._socket.fileno())
            self.loop.call_later(PAUSE_S, self._listen)
            return
        client = _Client(connected, self)
        if len(self._clients) >= MOST_CLIENTS:
            client.tell(Reply(error=f"{MOST_CLIENTS} commands are connected already; end one of them"))
            client.close()
            return
        self._clients.add(client)
        client.start()


class _Client:
    """One connected command."""

    def __init__(self, connected: socket.socket, control: Control) -> None:
        connected.setblocking(False)
        self._socket: socket.socket | None = connected
        self._control = control
        self._lines = Lines(MOST_REQUEST_BYTES)
        self._files: list[int] = []
        self._out = bytearray()
        self._writing = False
        self._talk: Conversation | None = None
        self._timer: asyncio.TimerHandle | None = None

    def start(self) -> None:
        if self._socket is not None:
            self._control.loop.add_reader(self._socket.fileno(), self._readable)
        self._rest()

    def tell(self, reply: Reply) -> None:
        """Queue an answer; who does not fetch its answers is dropped."""
        try:
            self._out += spelt(reply)
        except MessageError as exc:
            self._out += spelt(failure(exc))
        except (ValueError, TypeError, RecursionError) as exc:
            _log.error("control_answer_not_spelt", error=str(exc))
            self._out += spelt(failure(exc))
        if len(self._out) > 2 * MOST_ANSWER_BYTES:
            _log.warning("control_client_dropped", why="it does not read")
            self.close()
            return
        self._write()
        if not self._out:  # while it does not read, its time runs
            self._rest()

    def close(self) -> None:
        connected, self._socket = self._socket, None
        if connected is None:
            return
        if self._timer is not None:
            self._timer.cancel()
        self._control.loop.remove_reader(connected.fileno())
        self._control.loop.remove_writer(connected.fileno())
        connected.close()
        self._control.dropped(self)
        self._end(gone=True)
        while self._files:
            os.close(self._files.pop())

    # --- inside -----------------------------------------------------------------------------------------------------

    def _rest(self) -> None:
        """Begin to count how long nothing happens."""
        if self._timer is not None:
            self._timer.cancel()
        if self._socket is not None:
            self._timer = self._control.loop.call_later(IDLE_S, self._idle)

    def _idle(self) -> None:
        if self._talk is None or not self._talk.open or self._out:
            self.close()
        else:
            self._rest()

    def _readable(self) -> None:
        if self._socket is None:
            return
        try:
            data, files, _, _ = socket.recv_fds(self._socket, READ_BYTES, MOST_FILES)
        except BlockingIOError:
            return
        except OSError:
            self.close()
            return
        self._files += files
        if len(self._files) > MOST_FILES:
            _log.warning("control_client_dropped", why="it sends files that belong to no request")
        if not data or len(self._files) > MOST_FILES:
            self.close()
            return
        self._rest()
        try:
            for line in self._lines.feed(data):
                if self._socket is not None:
                    self._take(line)
        except MessageError as exc:
            self.tell(failure(exc))
            self.close()

    def _take(self, line: bytes) -> None:
        request = read_request(line)
        if request.ask == STOP:
            self._end(gone=False)
            return
        if self._talk is not None and self._talk.open:
            raise MessageError(f"request {self._talk.ask!r} is still open; stop it, or ask over another connection")
        files, self._files = self._files, []
        self._talk = Conversation(self, request.ask, request.given, files)
        self._answer(self._talk)

    def _answer(self, talk: Conversation) -> None:
        handler = self._control.handlers.get(talk.ask)
        try:
            if handler is None:
                there = ", ".join(sorted(self._control.handlers))
                raise MessageError(f"there is no request {talk.ask!r}; there are: {there}")
            answer = handler(talk)
        except UnderdashError as exc:
            talk.failed(exc)
        except Exception as exc:  # ours: the daemon goes on, the person is told
            _log.exception("control_request_failed", ask=talk.ask)
            talk.failed(exc)
        else:
            if answer is not None:
                talk.done(answer)

    def _end(self, gone: bool) -> None:
        talk = self._talk
        if talk is None or not talk.open:
            return
        if gone:
            talk.close()
            self._talk = None
        ended, talk.on_end = talk.on_end, _nothing
        try:
            ended(gone)
        except Exception:
            _log.exception("control_end_failed", ask=talk.ask)

    def _write(self) -> None:
        if self._socket is None:
            return
        loop = self._control.loop
        try:
            while self._out:
                del self._out[: self._socket.send(self._out)]
        except BlockingIOError:
            if not self._writing:
                self._writing = True
                loop.add_writer(self._socket.fileno(), self._write)
            return
        except OSError:
            # who called may still be at work with this client
            loop.call_soon(self.close)
            return
        if self._writing:
            self._writing = False
            loop.remove_writer(self._socket.fileno())


def _nothing(gone: bool) -> None:
    """What happens at the end of a request that was answered at once."""


def check_path(path: Path) -> None:
    """Raise `ControlError` if a path is too long for a socket."""
    size = len(os.fsencode(path))
    if size > MOST_PATH_BYTES:
        raise ControlError(
            f"the daemon's socket {path} has a path of {size} bytes; {MOST_PATH_BYTES} is the most the system takes: "
            "set RUNTIME_DIRECTORY to a shorter one"
        )


def _owned(path: Path) -> int:
    """Own the socket's name until this process ends, however it ends; return the open lock."""
    path.parent.mkdir(mode=0o755, parents=True, exist_ok=True)
    if path.parent.stat().st_uid not in (0, os.getuid()):
        raise ControlError(f"{path.parent} belongs to another user; set RUNTIME_DIRECTORY to a directory of your own")
    lock = os.open(path.with_name(path.name + ".lock"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as exc:
        holder = os.pread(lock, 32, 0).decode("ascii", "replace").strip()
        os.close(lock)
        raise RunsAlreadyError(
            f"the daemon runs already, as process {holder or 'unknown'}; underdash status asks it, and there is "
            "only one on a machine"
        ) from exc
    os.ftruncate(lock, 0)
    os.pwrite(lock, f"{os.getpid()}\n".encode(), 0)
    return lock


def _listening(path: Path) -> socket.socket:
    """Listen there, in place of the socket of a daemon that has ended; only its own user may connect."""
    path.unlink(missing_ok=True)
    made = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_NONBLOCK | socket.SOCK_CLOEXEC)
    try:
        os.fchmod(made.fileno(), 0o600)  # the name gets this mode from the very start
        made.bind(os.fspath(path))
        os.chmod(path, 0o600)
        made.listen(MOST_CLIENTS)
    except OSError:
        made.close()
        raise
    return made
