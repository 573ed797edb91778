from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import pytest

from underdash.bus.errors import ErrorKind
from underdash.bus.frames import Frame
from underdash.bus.memory import MemoryBus
from underdash.bus.port import PortAbsentError, PortGoneError, QuietEvents
from underdash.bus.table import Table

if TYPE_CHECKING:
    from .conftest import Recorder, Taken


def test_a_frame_arrives_at_the_others_and_comes_back_as_confirmation(recorder: Recorder, taken: Taken) -> None:
    async def run() -> None:
        bus, ours, theirs = MemoryBus("drive"), Table(), Table()
        sender, other = bus.port(), bus.port()
        sender.open(asyncio.get_running_loop(), ours, recorder)
        other.open(asyncio.get_running_loop(), theirs, QuietEvents())
        ours.add(0x7DF, taken)
        theirs.add(0x7DF, taken)
        assert sender.send(Frame(0x7DF, b"\x01"))
        assert taken.data == [], "never within the call"
        await recorder.until(lambda: recorder.frames)
        await asyncio.sleep(0)

    asyncio.run(run())
    assert taken.data == [b"\x01", b"\x01"]


def test_frames_keep_their_order_and_a_turn_hands_on_all_that_waits(recorder: Recorder, taken: Taken) -> None:
    async def run() -> None:
        bus, table = MemoryBus(), Table()
        port = bus.port()
        port.open(asyncio.get_running_loop(), table, recorder)
        table.add(1, taken)
        for number in range(50):
            bus.inject(Frame(1, bytes((number,))))
        await recorder.until(lambda: recorder.frames == 50)

    asyncio.run(run())
    assert [data[0] for data in taken.data] == list(range(50))
    assert recorder.turns == 1


def test_an_unplugged_adapter_fails_once_stays_absent_and_works_when_back(recorder: Recorder) -> None:
    async def run() -> None:
        bus = MemoryBus("drive")
        port = bus.port()
        port.open(asyncio.get_running_loop(), Table(), recorder)
        bus.unplug()
        bus.unplug()
        assert not port.send(Frame(1, b""))
        with pytest.raises(PortAbsentError, match="plug it in"):
            bus.port().open(asyncio.get_running_loop(), Table(), recorder)
        bus.plug()
        again = bus.port()
        again.open(asyncio.get_running_loop(), Table(), recorder)
        assert again.send(Frame(1, b""))
        await recorder.until(lambda: recorder.frames == 1)

    asyncio.run(run())
    assert [type(error) for error in recorder.failures] == [PortGoneError]


def test_faults_can_be_ordered(recorder: Recorder, taken: Taken) -> None:
    async def run() -> None:
        bus, table = MemoryBus(), Table()
        port = bus.port()
        port.open(asyncio.get_running_loop(), table, recorder)
        table.add(1, taken)
        bus.full = True
        assert not port.send(Frame(1, b"full"))
        bus.full, bus.dropping = False, True
        assert port.send(Frame(1, b"drop"))
        bus.dropping = False
        bus.inject(Frame(1, b"", remote=True))
        bus.inject(Frame(1, bytes(12), fd=True))
        bus.inject(Frame(1, bytes(9)))
        bus.inject_error(0x040)
        bus.lose(3)
        assert port.send(Frame(1, b"good"))
        await recorder.until(lambda: recorder.frames)

    asyncio.run(run())
    assert taken.data == [b"good"]
    assert recorder.others == 3
    assert recorder.errors[0].kinds == {ErrorKind.BUS_OFF}
    assert recorder.lost_total == 3


def test_a_silent_port_sends_nothing_and_a_filter_lets_only_its_keys_through(recorder: Recorder) -> None:
    async def run() -> None:
        bus = MemoryBus()
        port = bus.port(silent=True)
        port.open(asyncio.get_running_loop(), Table(), recorder)
        assert not port.send(Frame(1, b""))
        port.listen([2])
        bus.inject(Frame(1, b"\x01\x02"))
        bus.inject(Frame(2, b""))
        await recorder.until(lambda: recorder.frames)
        assert port.totals() == (2, 2)
        assert port.probe() is None

    asyncio.run(run())
    assert recorder.frames == 1


def test_a_closed_port_hears_nothing_more(recorder: Recorder) -> None:
    async def run() -> None:
        bus = MemoryBus()
        port = bus.port()
        port.open(asyncio.get_running_loop(), Table(), recorder)
        bus.inject(Frame(1, b""))
        port.close()
        port.close()
        bus.inject(Frame(1, b""))
        await asyncio.sleep(0)
        await asyncio.sleep(0)

    asyncio.run(run())
    assert recorder.frames == 0
