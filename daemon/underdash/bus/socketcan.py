"""SocketCAN, read by descriptor: the quick way in, for every interface that the kernel knows.

python-can opens and binds the socket; this file reads it. Whenever the loop finds it readable, up to 32 frames are
taken out and handed on, at one reading of the clock. What struct can_frame (linux/can.h) carries in its id decides
where a frame goes: data frames to the table, error frames to the events, all others are counted.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import socket
import struct
import sys
import time
from collections.abc import Callable, Collection
from dataclasses import replace
from pathlib import Path

import structlog

from .controller import Controller, read
from .delivery import deliver
from .errors import classify
from .filters import exact, packed
from .frames import ERROR, EXTENDED, REMOTE, Frame, Handler
from .port import PortError, PortEvents, from_os_error, sendable
from .table import Table

FRAMES_A_TURN = 32
"""So many are read before the loop gets its turn again."""

_FRAME = struct.Struct("=IB3x8s")
_HEAD = struct.Struct("=IB3x")
_ID = 0x1FFF_FFFF
_STANDARD = 0x7FF
_SPECIAL = ERROR | REMOTE
_LONGEST = 72  # struct canfd_frame
_SPACE = socket.CMSG_SPACE(16) + socket.CMSG_SPACE(4)
_RECEIVE_BUFFER = 1 << 20
# of linux/can/raw.h and asm-generic/socket.h; Python has not all of them
_SOL_CAN_RAW = 101
_CAN_RAW_FILTER = 1
_SO_RXQ_OVFL = 40
_SO_TIMESTAMPNS = 35
_NO_ROOM = {errno.ENOBUFS, errno.EAGAIN, errno.EWOULDBLOCK}
_OLDEST_S = 1.0
# where the error flag sits in the bytes of a frame, whichever way round this machine writes numbers
_FLAGS_BYTE = 3 if sys.byteorder == "little" else 0
_ERROR_BIT = ERROR >> 24

_log = structlog.get_logger()


class SocketCanPort:
    """A port on a raw CAN socket.

    Args:
        name: the interface, for messages and for what the kernel counts about it.
        opener: gives a bound raw socket; raises OSError or PortError.
        release: called on closing, after reading has stopped; by default the socket is closed.
        network: where the kernel shows interfaces.
        ask: asks the kernel how it has set an interface up.
    """

    def __init__(
        self,
        name: str,
        opener: Callable[[], socket.socket],
        release: Callable[[], None] | None = None,
        *,
        silent: bool | None = None,
        virtual: bool = False,
        network: Path = Path("/sys/class/net"),
        ask: Callable[[str], Controller | None] = read,
    ) -> None:
        self.silent = silent
        self.controller: Controller | None = None
        self._ask = ask
        self.virtual = virtual
        self._name = name
        self._opener = opener
        self._release = release
        self._place = network / name
        self._socket: socket.socket | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._index: str | None = None
        self._lost = 0
        self._turn = 0

    def open(self, loop: asyncio.AbstractEventLoop, table: Table, events: PortEvents) -> None:
        """See `Port`."""
        try:
            opened = self._opener()
        except OSError as exc:
            raise from_os_error(exc, self._name) from exc
        self._socket = opened
        pending = opened.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if pending:
            # a socket may be bound to an interface that is down; the kernel tells so only here
            self.close()
            raise from_os_error(OSError(pending, errno.errorcode.get(pending, "error")), self._name)
        opened.setblocking(False)
        _prepare(opened)
        self._loop, self._table, self._events = loop, table, events
        self._get: Callable[[int], Handler | None] = table.get
        self._recv, self._recvmsg = opened.recv, opened.recvmsg
        self._lost = 0
        self._index = self._read("ifindex")
        self._look()
        loop.add_reader(opened, self._readable)
        events.opened(time.monotonic())

    def send(self, frame: Frame) -> bool:
        """See `Port`."""
        if self._socket is None or self.silent or not sendable(frame):
            return False
        can_id = frame.key | REMOTE if frame.remote else frame.key
        try:
            self._socket.send(_FRAME.pack(can_id, len(frame.data), frame.data))
        except OSError as exc:
            if exc.errno not in _NO_ROOM:
                self._fail(from_os_error(exc, self._name, opened=True))
            return False
        return True

    def listen(self, keys: Collection[int] | None) -> None:
        """See `Port`."""
        if self._socket is not None:
            self._socket.setsockopt(_SOL_CAN_RAW, _CAN_RAW_FILTER, packed(exact(keys)))

    def totals(self) -> tuple[int, int] | None:
        """See `Port`."""
        frames, octets = self._read("statistics/rx_packets"), self._read("statistics/rx_bytes")
        return (int(frames), int(octets)) if frames and octets else None

    def probe(self) -> PortError | None:
        """See `Port`; an interface that was pulled out falls silent after one error, or none."""
        if self._socket is None or self._index is None:
            return None
        if self._read("ifindex") != self._index:
            return from_os_error(OSError(errno.ENODEV, "no such device"), self._name, opened=True)
        flags = self._read("flags")
        if flags and not int(flags, 16) & 1:
            return from_os_error(OSError(errno.ENETDOWN, "down"), self._name, opened=True)
        self._look()
        return None

    def close(self) -> None:
        """See `Port`."""
        opened, self._socket = self._socket, None
        if opened is None:
            return
        if self._loop is not None:
            self._loop.remove_reader(opened)
        if self._release is not None:
            self._release()
        else:
            opened.close()

    def _readable(self) -> None:
        """Take out what is there. This is the hot path: whatever is not counted in microseconds stays out of it."""
        events = self._events
        if events.tap is not None:
            self._readable_whole()
            return
        at = time.monotonic()
        raws, failure = self._take(at)
        errors: list[tuple[int, bytes]] = []
        self._report(raws, self._dispatch(raws, at, errors), at)
        # after the data: a controller that is off hears nothing, so what was heard was heard before
        for can_id, data in errors:
            self._events.error_frame(classify(can_id, data), at)
        if failure is not None:
            self._fail(from_os_error(failure, self._name, opened=True))

    def _take(self, at: float) -> tuple[list[bytes], OSError | None]:
        recv = self._recv
        raws: list[bytes] = []
        try:
            # the first one by recvmsg, which tells how many were lost, and is slower
            first, ancillary, _flags, _address = self._recvmsg(_LONGEST, _SPACE)
            raws.append(first)
            if ancillary:
                self._note_lost(ancillary, at)
            for _ in range(FRAMES_A_TURN - 1):
                raws.append(recv(_LONGEST))
        except BlockingIOError:
            pass
        except OSError as exc:
            return raws, exc
        return raws, None

    def _dispatch(self, raws: list[bytes], at: float, errors: list[tuple[int, bytes]]) -> int:
        """Call who wants them, put error frames into `errors`, and return how many were data frames."""
        get = self._get
        unpack = _FRAME.unpack
        data_frames = len(raws)
        for raw in raws:
            try:
                key, length, data = unpack(raw)
                handler = get(key)
                if handler is not None and length <= 8:
                    handler(data if length == 8 else data[:length], at)
                elif key & _SPECIAL or length > 8:
                    data_frames -= 1
                    if key & ERROR:
                        errors.append((key & _ID, data))
            except Exception:
                if len(raw) != _FRAME.size:
                    data_frames -= 1
                    continue
                # one handler's mistake must not take the other frames of this turn with it
                _log.exception("frame_handler_failed", interface=self._name)
        return data_frames

    def _report(self, raws: list[bytes], data_frames: int, at: float) -> None:
        events = self._events
        if data_frames:
            events.received(data_frames, at)
            self._turn += 1
            raw = raws[self._turn % len(raws)]
            if len(raw) == _FRAME.size:
                key, length, data = _FRAME.unpack(raw)
                if not key & _SPECIAL:
                    events.sampled(key, data[:length])
        if data_frames != len(raws):
            others = sum(len(raw) != _FRAME.size or not raw[_FLAGS_BYTE] & _ERROR_BIT for raw in raws) - data_frames
            if others:
                events.foreign(others, at)

    def _readable_whole(self) -> None:
        """Take out what is there while somebody records: each frame with the kernel's own stamp."""
        at = time.monotonic()
        behind = time.time() - at
        failure = None
        frames: list[Frame] = []
        broken = 0
        try:
            for _ in range(FRAMES_A_TURN):
                raw, ancillary, _flags, _address = self._recvmsg(_LONGEST, _SPACE)
                frame = parse(raw, at)
                if frame is None:
                    broken += 1
                    continue
                frames.append(replace(frame, at=_stamped(ancillary, at, behind)) if ancillary else frame)
                if ancillary:
                    self._note_lost(ancillary, at)
        except BlockingIOError:
            pass
        except OSError as exc:
            failure = exc
        deliver(frames, at, self._table, self._events, self._name)
        if broken:
            self._events.foreign(broken, at)
        if failure is not None:
            self._fail(from_os_error(failure, self._name, opened=True))

    def _note_lost(self, ancillary: list[tuple[int, int, bytes]], at: float) -> None:
        for level, kind, value in ancillary:
            if level == socket.SOL_SOCKET and kind == _SO_RXQ_OVFL and len(value) >= 4:
                lost = int(struct.unpack("=I", value[:4])[0])
                if lost != self._lost:
                    self._lost = lost
                    self._events.lost(lost, at)

    def _look(self) -> None:
        """Ask the kernel again: somebody may have set the interface up anew meanwhile."""
        self.controller = self._ask(self._name)
        if self.controller is not None and self.controller.real:
            self.silent = self.controller.listen_only

    def _fail(self, error: PortError) -> None:
        # a descriptor that stays readable with an error would spin the loop
        if self._socket is not None and self._loop is not None:
            self._loop.remove_reader(self._socket)
        self._events.failed(error, time.monotonic())

    def _read(self, what: str) -> str | None:
        try:
            return (self._place / what).read_text().strip()
        except OSError:
            return None


def parse(raw: bytes, at: float) -> Frame | None:
    """Read a struct can_frame or canfd_frame; None if it is neither or contradicts itself."""
    if len(raw) not in (_FRAME.size, _LONGEST):
        return None
    can_id, length = _HEAD.unpack_from(raw)
    fd = len(raw) == _LONGEST
    if length > (64 if fd else 8):
        return None
    extended = bool(can_id & EXTENDED)
    remote = bool(can_id & REMOTE)
    data = b"" if remote else raw[_HEAD.size : _HEAD.size + length]
    number = can_id & (_ID if extended or can_id & ERROR else _STANDARD)
    return Frame(number, data, extended, at, remote, bool(can_id & ERROR), fd)


def _stamped(ancillary: list[tuple[int, int, bytes]], at: float, behind: float) -> float:
    """Return the kernel's stamp as monotonic seconds; it is wall time, which may have jumped, so it is kept close."""
    for level, kind, value in ancillary:
        if level == socket.SOL_SOCKET and kind == _SO_TIMESTAMPNS and len(value) >= 16:
            seconds, nanoseconds = struct.unpack("=qq", value[:16])
            stamp: float = seconds + nanoseconds * 1e-9 - behind
            return stamp if at - _OLDEST_S <= stamp <= at else at
    return at


def _prepare(opened: socket.socket) -> None:
    """Make room for a second of a full bus, and have the kernel count what did not fit."""
    for option, value in ((socket.SO_RCVBUF, _RECEIVE_BUFFER), (_SO_RXQ_OVFL, 1)):
        # refused by some kinds of socket; nothing is lost by that but the extra
        with contextlib.suppress(OSError):
            opened.setsockopt(socket.SOL_SOCKET, option, value)
