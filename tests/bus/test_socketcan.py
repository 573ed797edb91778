from __future__ import annotations

import asyncio
import contextlib
import errno
import socket
import struct
from collections.abc import AsyncIterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.bus.errors import ErrorKind
from underdash.bus.frames import ERROR, EXTENDED, REMOTE, Frame
from underdash.bus.port import PortDownError, PortGoneError, PortRightsError
from underdash.bus.socketcan import FRAMES_A_TURN, SocketCanPort, parse
from underdash.bus.table import Table

if TYPE_CHECKING:
    from .conftest import Recorder, Taken


def raw(can_id: int, data: bytes = b"", length: int | None = None) -> bytes:
    """A struct can_frame as the kernel hands it out."""
    return struct.pack("=IB3x8s", can_id, len(data) if length is None else length, data)


class Wire:
    """The far end of an open port: what a test puts in, the port reads."""

    def __init__(self, near: socket.socket, port: SocketCanPort, table: Table) -> None:
        self.near = near
        self.port = port
        self.table = table


@contextlib.asynccontextmanager
async def opened(recorder: Recorder) -> AsyncIterator[Wire]:
    near, far = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    port, table = SocketCanPort("pair", lambda: far), Table()
    port.open(asyncio.get_running_loop(), table, recorder)
    try:
        yield Wire(near, port, table)
    finally:
        port.close()
        near.close()


def test_frames_reach_those_who_want_them_and_all_are_counted(recorder: Recorder, taken: Taken) -> None:
    async def run() -> None:
        async with opened(recorder) as wire:
            wire.table.add(0x1A0, taken)
            wire.table.add(0x1A0 | EXTENDED, taken)
            for can_id, data in ((0x1A0, b"\x01\x02"), (0x2B0, b"\x09"), (0x1A0 | EXTENDED, bytes(range(8)))):
                wire.near.send(raw(can_id, data))
            await recorder.until(lambda: recorder.frames == 3)

    asyncio.run(run())
    assert recorder.openings == 1
    assert taken.data == [b"\x01\x02", bytes(range(8))]
    assert taken.times[0] == taken.times[1]


def test_remote_error_fd_short_and_overlong_frames_reach_no_handler(recorder: Recorder, taken: Taken) -> None:
    async def run() -> None:
        async with opened(recorder) as wire:
            for can_id in (0x1A0, 0x004, 0x040):
                wire.table.add(can_id, taken)
            wire.near.send(raw(0x1A0 | REMOTE, b"", 4))
            wire.near.send(raw(0x040 | ERROR, bytes(8)))
            wire.near.send(struct.pack("=IB3x64s", 0x1A0, 64, bytes(64)))
            wire.near.send(raw(0x1A0, bytes(8))[:9])
            wire.near.send(b"")
            wire.near.send(bytes(80))
            wire.near.send(raw(0x1A0, bytes(8), length=12))
            wire.near.send(raw(0x2B0, bytes(8), length=200))
            wire.near.send(raw(0x1A0, b"\x07"))
            await recorder.until(lambda: recorder.frames == 1)

    asyncio.run(run())
    assert taken.data == [b"\x07"]
    assert recorder.others == 7
    assert [error.kinds for error in recorder.errors] == [{ErrorKind.BUS_OFF}]


def test_a_turn_of_the_loop_takes_at_most_32_frames(recorder: Recorder, taken: Taken) -> None:
    async def run() -> None:
        async with opened(recorder) as wire:
            wire.near.settimeout(10)
            wire.near.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 20)
            wire.table.add(1, taken)
            sent = 0
            wire.near.setblocking(False)
            with contextlib.suppress(BlockingIOError):
                for _ in range(100):
                    wire.near.send(raw(1, bytes((sent,))))
                    sent += 1
            await recorder.until(lambda: recorder.frames == sent)
            assert recorder.turns >= -(-sent // FRAMES_A_TURN)
            assert [data[0] for data in taken.data] == list(range(sent))

    asyncio.run(run())


@pytest.mark.parametrize("mistake", [RuntimeError("no"), struct.error("too short")])
def test_a_handler_that_raises_costs_only_its_own_frame(recorder: Recorder, taken: Taken, mistake: Exception) -> None:
    def broken(_data: bytes, _at: float) -> None:
        raise mistake

    async def run() -> None:
        async with opened(recorder) as wire:
            wire.table.add(1, broken)
            wire.table.add(2, taken)
            for can_id in (1, 2, 1, 2):
                wire.near.send(raw(can_id))
            await recorder.until(lambda: recorder.frames == 4)

    asyncio.run(run())
    assert taken.data == [b"", b""]


def test_a_tap_gets_whole_frames_of_every_kind_and_handlers_work_on(recorder: Recorder, taken: Taken) -> None:
    tapped: list[Frame] = []

    async def run() -> None:
        recorder.tap = tapped.append
        async with opened(recorder) as wire:
            wire.table.add(0x1A0, taken)
            wire.near.send(raw(0x1A0, b"\x01"))
            wire.near.send(raw(0x18DB33F1 | EXTENDED, b"\x02"))
            wire.near.send(raw(0x1A0 | REMOTE, b"", 3))
            wire.near.send(raw(0x20 | ERROR, bytes(8)))
            wire.near.send(struct.pack("=IB3x64s", 0x1A0, 12, bytes(64)))
            wire.near.send(bytes(5))
            await recorder.until(lambda: recorder.others == 3)

    asyncio.run(run())
    assert [str(frame) for frame in tapped] == [
        "1A0#01",
        "18DB33F1#02",
        "1A0#",
        "020#0000000000000000",
        "1A0#" + "00" * 12,
    ]
    assert [(f.remote, f.error, f.fd) for f in tapped[2:]] == [
        (True, False, False),
        (False, True, False),
        (False, False, True),
    ]
    assert taken.data == [b"\x01"]
    assert len(recorder.errors) == 1
    assert recorder.frames == 2


def test_samples_come_from_data_frames_only(recorder: Recorder) -> None:
    async def run() -> None:
        async with opened(recorder) as wire:
            wire.near.send(raw(0x1A0, b"\x01\x02"))
            await recorder.until(lambda: recorder.frames == 1)
            wire.near.send(raw(0x1A0 | REMOTE))
            await recorder.until(lambda: recorder.others == 1)

    asyncio.run(run())
    assert recorder.samples == [(0x1A0, b"\x01\x02")]


def test_a_sent_frame_is_a_struct_can_frame(recorder: Recorder) -> None:
    async def run() -> list[bytes]:
        async with opened(recorder) as wire:
            assert wire.port.send(Frame(0x7DF, b"\x02\x01\x0c"))
            assert wire.port.send(Frame(0x18DB33F1, bytes(8), extended=True))
            assert not wire.port.send(Frame(0x1, bytes(12), fd=True))
            assert not wire.port.send(Frame(0x1, bytes(9)))
            assert not wire.port.send(Frame(0x1, bytes(8), error=True))
            return [wire.near.recv(72), wire.near.recv(72)]

    assert asyncio.run(run()) == [raw(0x7DF, b"\x02\x01\x0c"), raw(0x18DB33F1 | EXTENDED, bytes(8))]


class FakeSocket:
    """A descriptor that is really readable, with answers to order."""

    def __init__(self, far: socket.socket) -> None:
        self.far = far
        self.pending = 0
        self.reading: OSError | None = None
        self.sending: OSError | None = None
        self.lost = 0
        self.options: list[tuple[int, int, object]] = []

    def fileno(self) -> int:
        return self.far.fileno()

    def close(self) -> None:
        self.far.close()

    def setblocking(self, _on: bool) -> None: ...

    def getsockopt(self, _level: int, _option: int) -> int:
        return self.pending

    def setsockopt(self, level: int, option: int, value: object) -> None:
        self.options.append((level, option, value))

    def recv(self, _size: int) -> bytes:
        raise BlockingIOError

    def recvmsg(self, size: int, _space: int) -> tuple[bytes, list[tuple[int, int, bytes]], int, None]:
        if self.reading is not None:
            raise self.reading
        ancillary = [(socket.SOL_SOCKET, 40, struct.pack("=I", self.lost))] if self.lost else []
        return self.far.recv(size, socket.MSG_DONTWAIT), ancillary, 0, None

    def send(self, data: bytes) -> int:
        if self.sending is not None:
            raise self.sending
        return len(data)


@contextlib.asynccontextmanager
async def faked(recorder: Recorder) -> AsyncIterator[tuple[FakeSocket, SocketCanPort, socket.socket]]:
    near, far = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    fake = FakeSocket(far)
    port = SocketCanPort("can0", lambda: fake)  # type: ignore[arg-type, return-value]
    port.open(asyncio.get_running_loop(), Table(), recorder)
    try:
        yield fake, port, near
    finally:
        port.close()
        near.close()


@pytest.mark.parametrize(("number", "kind"), [(errno.ENETDOWN, PortDownError), (errno.ENODEV, PortGoneError)])
def test_an_error_while_reading_is_reported_once_and_does_not_spin(
    recorder: Recorder, number: int, kind: type[Exception]
) -> None:
    async def run() -> None:
        async with faked(recorder) as (fake, _port, near):
            fake.reading = OSError(number, "broken")
            near.send(raw(1))
            await recorder.until(lambda: recorder.failures)
            for _ in range(20):
                await asyncio.sleep(0)

    asyncio.run(run())
    assert [type(error) for error in recorder.failures] == [kind]


@pytest.mark.parametrize("number", [errno.ENOBUFS, errno.EAGAIN])
def test_no_room_is_an_answer_and_no_failure(recorder: Recorder, number: int) -> None:
    async def run() -> None:
        async with faked(recorder) as (fake, port, _near):
            fake.sending = OSError(number, "full")
            assert not port.send(Frame(1, b""))
            fake.sending = None
            assert port.send(Frame(1, b""))

    asyncio.run(run())
    assert recorder.failures == []


def test_an_error_while_sending_is_reported(recorder: Recorder) -> None:
    async def run() -> None:
        async with faked(recorder) as (fake, port, _near):
            fake.sending = OSError(errno.ENETDOWN, "down")
            assert not port.send(Frame(1, b""))

    asyncio.run(run())
    assert [type(error) for error in recorder.failures] == [PortDownError]


def test_lost_frames_are_read_off_the_socket(recorder: Recorder) -> None:
    async def run() -> None:
        async with faked(recorder) as (fake, _port, near):
            fake.lost = 17
            near.send(raw(1))
            await recorder.until(lambda: recorder.lost_total)

    asyncio.run(run())
    assert recorder.lost_total == 17


def test_the_filter_the_receive_buffer_and_the_count_of_losses_are_asked_for(recorder: Recorder) -> None:
    async def run() -> list[tuple[int, int, object]]:
        async with faked(recorder) as (fake, port, _near):
            port.listen([0x123])
            return fake.options

    options = asyncio.run(run())
    assert (socket.SOL_SOCKET, 40, 1) in options
    assert any(option == socket.SO_RCVBUF for _level, option, _value in options)
    assert options[-1] == (101, 1, struct.pack("=II", 0x123, 0x7FF | EXTENDED | REMOTE))


def test_an_interface_that_is_down_is_refused_on_opening(recorder: Recorder) -> None:
    near, far = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    fake = FakeSocket(far)
    fake.pending = errno.ENETDOWN

    async def run() -> None:
        port = SocketCanPort("can0", lambda: fake)  # type: ignore[arg-type, return-value]
        with pytest.raises(PortDownError, match="ip link set can0 up"):
            port.open(asyncio.get_running_loop(), Table(), recorder)

    asyncio.run(run())
    assert far.fileno() == -1
    near.close()


def test_what_the_opener_is_refused_is_explained(recorder: Recorder) -> None:
    def refuse() -> socket.socket:
        raise PermissionError(errno.EPERM, "Operation not permitted")

    async def run() -> None:
        with pytest.raises(PortRightsError, match="can0"):
            SocketCanPort("can0", refuse).open(asyncio.get_running_loop(), Table(), recorder)

    asyncio.run(run())


def test_a_vanished_or_switched_off_interface_is_noticed_from_outside(recorder: Recorder, tmp_path: Path) -> None:
    place = tmp_path / "can0"
    (place / "statistics").mkdir(parents=True)
    (place / "ifindex").write_text("5\n")
    (place / "flags").write_text("0x1\n")
    (place / "statistics" / "rx_packets").write_text("12\n")
    (place / "statistics" / "rx_bytes").write_text("96\n")
    near, far = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)

    async def run() -> None:
        port = SocketCanPort("can0", lambda: far, network=tmp_path)
        port.open(asyncio.get_running_loop(), Table(), recorder)
        assert port.probe() is None
        assert port.totals() == (12, 96)
        (place / "flags").write_text("0x0\n")
        assert isinstance(port.probe(), PortDownError)
        (place / "ifindex").write_text("6\n")
        assert isinstance(port.probe(), PortGoneError)
        port.close()
        assert port.probe() is None

    asyncio.run(run())
    near.close()


@given(st.binary(max_size=80))
def test_any_bytes_are_a_frame_or_none(data: bytes) -> None:
    frame = parse(data, 1.0)
    assert frame is None or len(frame.data) <= 64
