"""Any interface that python-can knows and the kernel does not: one reader thread each.

The thread opens the interface (a serial adapter takes seconds), waits in the library's `recv`, takes out what else
has come, and hands it to the loop in one call. Whatever the library raises is caught: a passing error is waited out,
a lasting one ends in `failed`. The thread ends soon after `close`.
"""

from __future__ import annotations

import asyncio
import errno
import inspect
import threading
import time
from collections.abc import Callable, Collection
from typing import TYPE_CHECKING, Any

import structlog

from .controller import Controller
from .delivery import deliver
from .filters import exact
from .frames import EXTENDED, Frame
from .port import PortError, PortEvents, PortGoneError, from_os_error, sendable
from .table import Table

if TYPE_CHECKING:
    import can

_log = structlog.get_logger()

_WAIT_S = 0.05
_BATCH = 32
_ERRORS_IN_A_ROW = 5
_FIRST_PAUSE_S = 0.01
_UNREAD_BATCHES = 64
_JOIN_S = 0.5
_NO_ROOM = (errno.ENOBUFS, errno.EAGAIN)


class LibraryPort:
    """A port on an interface opened by python-can.

    Args:
        name: the interface, for messages.
        opener: opens it, in the reader thread; whatever it raises is reported by `PortEvents.failed`.
        silent, virtual: see `Port`.
    """

    controller: Controller | None = None

    def __init__(
        self,
        name: str,
        opener: Callable[[], can.BusABC],
        *,
        silent: bool | None = None,
        virtual: bool = False,
    ) -> None:
        self.silent = silent
        self.virtual = virtual
        self._name = name
        self._opener = opener
        self._echoes = False
        self._bus: can.BusABC | None = None
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._unread = 0
        self._lost = 0

    def open(self, loop: asyncio.AbstractEventLoop, table: Table, events: PortEvents) -> None:
        """See `Port`; the interface is open when `opened` is reported."""
        self._loop, self._table, self._events = loop, table, events
        self._stop = threading.Event()
        self._unread = self._lost = 0
        self._thread = threading.Thread(target=self._run, args=(self._stop,), name=f"bus {self._name}", daemon=True)
        self._thread.start()

    def send(self, frame: Frame) -> bool:
        """See `Port`."""
        bus = self._bus
        if bus is None or self.silent or not sendable(frame):
            return False
        try:
            bus.send(_message(frame), timeout=0)
        except Exception as exc:
            if _number(exc) not in _NO_ROOM and not _is_full(exc):
                self._failed(self._stop, _explain(exc, self._name))
            return False
        if not self._echoes:
            self._loop.call_soon(self._deliver, self._stop, [frame], None)
        return True

    def listen(self, keys: Collection[int] | None) -> None:
        """See `Port`."""
        filters = exact(keys)
        bus = self._bus
        if bus is None:
            return
        try:
            bus.set_filters([
                {"can_id": key & 0x1FFF_FFFF, "can_mask": mask & 0x1FFF_FFFF, "extended": bool(key & EXTENDED)}
                for key, mask in filters
            ] if keys is not None and len(filters) == len(set(keys)) else None)  # fmt: skip
        except Exception as exc:
            # not filtering is only slower
            _log.warning("filters_refused", interface=self._name, error=str(exc))

    def totals(self) -> tuple[int, int] | None:
        """See `Port`."""
        return None

    def probe(self) -> PortError | None:
        """See `Port`."""
        if self._thread is not None and not self._thread.is_alive() and not self._stop.is_set():
            return PortGoneError(f"interface {self._name}: its reader has ended; it is opened again by itself")
        return None

    def close(self) -> None:
        """See `Port`; waits up to half a second for the library to let go."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(_JOIN_S)
            if self._thread.is_alive():
                _log.warning("reader_still_running", interface=self._name)
            self._thread = None

    # --- in the loop's thread -----------------------------------------------------------------------------------

    def _deliver(self, stop: threading.Event, frames: list[Frame], at: float | None) -> None:
        if at is not None:
            self._unread -= 1
        if not stop.is_set():
            deliver(frames, self._loop.time() if at is None else at, self._table, self._events, self._name)

    def _failed(self, stop: threading.Event, error: PortError) -> None:
        if not stop.is_set():
            stop.set()
            self._events.failed(error, self._loop.time())

    def _opened(self, stop: threading.Event) -> None:
        if not stop.is_set():
            self._events.opened(self._loop.time())

    def _missed(self, stop: threading.Event, total: int) -> None:
        if not stop.is_set():
            self._events.lost(total, self._loop.time())

    # --- in the reader thread -----------------------------------------------------------------------------------

    def _run(self, stop: threading.Event) -> None:
        bus: can.BusABC | None = None
        try:
            bus = self._opener()
            self._echoes = _echoes(bus)
            self._bus = bus
            self._tell(self._opened, stop)
            self._read(bus, stop)
        except Exception as exc:
            self._tell(self._failed, stop, _explain(exc, self._name))
        finally:
            if self._bus is bus:
                self._bus = None
            if bus is not None:
                _shut(bus, self._name)

    def _read(self, bus: can.BusABC, stop: threading.Event) -> None:
        errors = 0
        while not stop.is_set():
            try:
                message = bus.recv(_WAIT_S)
                at = time.monotonic()
                errors = 0
                if message is not None:
                    self._hand_over(stop, _drain(bus, message, at), at)
            except Exception as exc:
                errors += 1
                if errors == _ERRORS_IN_A_ROW or _number(exc) == errno.ENODEV:
                    raise
                _log.warning("reading_failed", interface=self._name, error=str(exc))
                stop.wait(_FIRST_PAUSE_S * 2**errors)

    def _hand_over(self, stop: threading.Event, frames: list[Frame], at: float) -> None:
        if self._unread >= _UNREAD_BATCHES:
            # the loop does not keep up; better lose frames than memory
            self._lost += len(frames)
            self._tell(self._missed, stop, self._lost)
            return
        self._unread += 1
        self._tell(self._deliver, stop, frames, at)

    def _tell(self, called: Callable[..., None], *arguments: Any) -> None:
        try:
            self._loop.call_soon_threadsafe(called, *arguments)
        except RuntimeError:
            # the loop was closed before us
            self._stop.set()


def _drain(bus: can.BusABC, first: can.Message, at: float) -> list[Frame]:
    frames = [_frame(first, at)]
    try:
        while len(frames) < _BATCH and (message := bus.recv(0)) is not None:
            frames.append(_frame(message, at))
    except Exception as exc:
        # what was read is not lost for it; if the error lasts, the next wait meets it again
        _log.warning("reading_failed", error=str(exc))
    return frames


def _frame(message: can.Message, at: float) -> Frame:
    error = message.is_error_frame
    return Frame(
        message.arbitration_id,
        bytes(message.data or b""),
        message.is_extended_id and not error,
        at,
        message.is_remote_frame,
        error,
        message.is_fd,
    )


def _message(frame: Frame) -> can.Message:
    import can

    return can.Message(
        arbitration_id=frame.id, is_extended_id=frame.extended, is_remote_frame=frame.remote, data=frame.data
    )


def _echoes(bus: can.BusABC) -> bool:
    """Say whether frames we send come back by themselves; if not, a sent frame is handed back as its confirmation."""
    return "receive_own_messages" in inspect.signature(type(bus).__init__).parameters


def _shut(bus: can.BusABC, name: str) -> None:
    try:
        bus.shutdown()
    except Exception as exc:
        _log.warning("closing_failed", interface=name, error=str(exc))


def _number(error: Exception) -> int | None:
    number = getattr(error, "errno", None) or getattr(error, "error_code", None)
    return number if isinstance(number, int) else None


def _is_full(error: Exception) -> bool:
    return "buffer full" in str(error).lower() or "queue full" in str(error).lower()


def _explain(error: Exception, name: str) -> PortError:
    if isinstance(error, PortError):
        return error
    if isinstance(error, OSError):
        explained = from_os_error(error, name, opened=True)
    else:
        explained = PortGoneError(f"interface {name} does not work any more: {error}; check its plug and supply")
    explained.__cause__ = error
    return explained
