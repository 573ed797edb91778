from __future__ import annotations

import asyncio
import threading
import uuid
from collections.abc import Callable
from typing import TYPE_CHECKING

import can

from underdash.bus.errors import ErrorKind
from underdash.bus.frames import EXTENDED, Frame
from underdash.bus.library import LibraryPort
from underdash.bus.port import PortAbsentError, PortGoneError
from underdash.bus.table import Table

if TYPE_CHECKING:
    from .conftest import Recorder, Taken

Step = can.Message | Exception | None


class ScriptedBus(can.BusABC):
    """A library's bus that hands out what a test wrote down, then waits to be closed."""

    def __init__(self, steps: list[Step], echo: Exception | None = None) -> None:
        self.steps = steps
        self.sent: list[can.Message] = []
        self.refusing = echo
        self.closed = threading.Event()
        super().__init__(channel="scripted")

    def recv(self, timeout: float | None = None) -> can.Message | None:
        if not self.steps:
            self.closed.wait(timeout)
            return None
        step = self.steps.pop(0)
        if isinstance(step, Exception):
            raise step
        return step

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        if self.refusing is not None:
            raise self.refusing
        self.sent.append(msg)

    def shutdown(self) -> None:
        super().shutdown()
        self.closed.set()


def message(can_id: int, data: bytes = b"", **options: bool) -> can.Message:
    return can.Message(arbitration_id=can_id, data=data, is_extended_id=False, **options)


def run_with(
    bus: Callable[[], can.BusABC], recorder: Recorder, table: Table, done: Callable[[], object]
) -> LibraryPort:
    async def run() -> LibraryPort:
        port = LibraryPort("scripted", bus)
        port.open(asyncio.get_running_loop(), table, recorder)
        await recorder.until(done)
        port.close()
        return port

    return asyncio.run(run())


def reader_threads() -> list[str]:
    return [thread.name for thread in threading.enumerate() if thread.name.startswith("bus ")]


def test_frames_both_ways_over_the_librarys_virtual_interface(recorder: Recorder, taken: Taken) -> None:
    channel = str(uuid.uuid4())

    async def run() -> None:
        port = LibraryPort("virtual", lambda: can.Bus(channel, interface="virtual", receive_own_messages=True))
        table = Table()
        table.add(0x7E8, taken)
        table.add(0x18DB33F1 | EXTENDED, taken)
        port.open(asyncio.get_running_loop(), table, recorder)
        await recorder.until(lambda: recorder.openings)
        with can.Bus(channel, interface="virtual") as other:
            other.send(message(0x7E8, b"\x41"))
            await recorder.until(lambda: recorder.frames == 1)
            assert port.send(Frame(0x18DB33F1, b"\x02", extended=True))
            heard = other.recv(5)
            assert heard is not None
            assert (heard.arbitration_id, heard.is_extended_id, bytes(heard.data)) == (0x18DB33F1, True, b"\x02")
            await recorder.until(lambda: recorder.frames == 2)
            port.listen([0x7E8])
            other.send(message(0x123))
            other.send(message(0x7E8, b"\x42"))
            await recorder.until(lambda: recorder.frames == 3)
        port.close()

    asyncio.run(run())
    assert taken.data == [b"\x41", b"\x02", b"\x42"], "the sent frame comes back once"
    assert reader_threads() == []


def test_remote_fd_and_error_frames_reach_no_handler(recorder: Recorder, taken: Taken) -> None:
    table = Table()
    table.add(0x020, taken)
    steps: list[Step] = [
        message(0x020, is_remote_frame=True),
        message(0x020, is_fd=True),
        message(0x020, bytes(8), is_error_frame=True),
        message(0x020, b"\x07"),
    ]
    run_with(lambda: ScriptedBus(steps), recorder, table, lambda: recorder.frames)
    assert taken.data == [b"\x07"]
    assert recorder.others == 2
    assert [error.kinds for error in recorder.errors] == [{ErrorKind.NOT_ACKNOWLEDGED}]


def test_a_passing_error_of_the_library_costs_nothing(recorder: Recorder, taken: Taken) -> None:
    table = Table()
    table.add(1, taken)
    steps: list[Step] = [message(1, b"a"), can.CanOperationError("odd"), ValueError("bug"), message(1, b"b")]
    run_with(lambda: ScriptedBus(steps), recorder, table, lambda: len(taken.data) == 2)
    assert recorder.failures == []
    assert taken.data == [b"a", b"b"]


def test_a_lasting_error_is_reported_once_and_ends_the_thread(recorder: Recorder) -> None:
    steps: list[Step] = [can.CanOperationError("unplugged")] * 100
    bus = ScriptedBus(steps)
    port = run_with(lambda: bus, recorder, Table(), lambda: recorder.failures)
    assert [type(error) for error in recorder.failures] == [PortGoneError]
    assert "unplugged" in str(recorder.failures[0])
    assert bus.closed.is_set()
    assert not port.send(Frame(1, b""))
    assert reader_threads() == []


def test_an_interface_that_does_not_open_is_reported_with_its_own_words(recorder: Recorder) -> None:
    def refuse() -> can.BusABC:
        raise PortAbsentError("it is not there; plug it in")

    run_with(refuse, recorder, Table(), lambda: recorder.failures)
    assert [str(error) for error in recorder.failures] == ["it is not there; plug it in"]
    assert recorder.openings == 0


def test_a_bus_that_does_not_echo_hands_a_sent_frame_back_as_its_confirmation(recorder: Recorder, taken: Taken) -> None:
    bus = ScriptedBus([])

    async def run() -> None:
        port, table = LibraryPort("scripted", lambda: bus), Table()
        table.add(1, taken)
        port.open(asyncio.get_running_loop(), table, recorder)
        await recorder.until(lambda: recorder.openings)
        assert port.send(Frame(1, b"x"))
        await recorder.until(lambda: recorder.frames)
        port.close()

    asyncio.run(run())
    assert taken.data == [b"x"]
    assert [bytes(sent.data) for sent in bus.sent] == [b"x"]


def test_no_room_is_an_answer_and_any_other_refusal_a_failure(recorder: Recorder) -> None:
    bus = ScriptedBus([], can.CanOperationError("Transmit buffer full", 105))

    async def run() -> None:
        port = LibraryPort("scripted", lambda: bus)
        port.open(asyncio.get_running_loop(), Table(), recorder)
        await recorder.until(lambda: recorder.openings)
        assert not port.send(Frame(1, b""))
        assert recorder.failures == []
        bus.refusing = can.CanOperationError("gone", 19)
        assert not port.send(Frame(1, b""))
        port.close()

    asyncio.run(run())
    assert len(recorder.failures) == 1


def test_a_loop_that_does_not_keep_up_loses_frames_instead_of_memory(recorder: Recorder) -> None:
    steps: list[Step] = [message(1) for _ in range(32 * 80)]
    bus = ScriptedBus(steps)

    async def run() -> None:
        port = LibraryPort("scripted", lambda: bus)
        port.open(asyncio.get_running_loop(), Table(), recorder)
        # the loop is held up here, without a turn, until the reader has read everything
        reading = threading.Event()
        for _ in range(1000):
            if not bus.steps:
                break
            reading.wait(0.01)
        await recorder.until(lambda: recorder.frames + recorder.lost_total == 32 * 80)
        port.close()

    asyncio.run(run())
    assert recorder.lost_total > 0
    assert recorder.frames >= 32 * 60
