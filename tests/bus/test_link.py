from __future__ import annotations

import asyncio
from collections.abc import Collection

import pytest

from underdash.bus.controller import Controller
from underdash.bus.errors import classify
from underdash.bus.frames import Frame
from underdash.bus.health import BusState
from underdash.bus.link import BACK_OFF_S, Link
from underdash.bus.memory import MemoryBus
from underdash.bus.port import Port, PortAbsentError, PortDownError, PortError, PortEvents
from underdash.bus.table import Table


class FakePort:
    """A port whose every word a test speaks; time is what the test says it is."""

    silent: bool | None = False
    virtual = False
    controller: Controller | None = None

    def __init__(self) -> None:
        self.events: PortEvents | None = None
        self.closed = False
        self.room = True
        self.trouble: PortError | None = None
        self.counted: tuple[int, int] | None = (0, 0)
        self.keys: list[Collection[int] | None] = []

    def open(self, loop: asyncio.AbstractEventLoop, table: Table, events: PortEvents) -> None:
        self.events = events
        events.opened(0.0)

    def send(self, frame: Frame) -> bool:
        return self.room

    def listen(self, keys: Collection[int] | None) -> None:
        self.keys.append(keys)

    def totals(self) -> tuple[int, int] | None:
        return self.counted

    def probe(self) -> PortError | None:
        return self.trouble

    def close(self) -> None:
        self.closed = True


class Bench:
    """A link over fake ports, and the loop it never really uses."""

    def __init__(self, *, filtered: bool = False, refusals: int = 0) -> None:
        self.ports: list[FakePort] = []
        self.tries = 0
        self._refusals = refusals
        self.loop = asyncio.new_event_loop()
        self.link = Link("drive", self._make, bitrate=500_000, filtered=filtered)
        self.link.start(self.loop, 0.0)

    def _make(self) -> Port:
        self.tries += 1
        if self.tries <= self._refusals:
            raise PortAbsentError("can0 is not there; plug it in")
        self.ports.append(FakePort())
        return self.ports[-1]

    def state(self) -> BusState:
        return self.link.state


@pytest.fixture
def bench() -> Bench:
    made = Bench()
    made.loop.close()
    return made


def test_a_bus_is_silent_until_heard_and_again_after_two_seconds_of_nothing(bench: Bench) -> None:
    assert bench.state() is BusState.SILENT
    bench.link.received(3, 1.0)
    assert bench.state() is BusState.LISTENING
    bench.link.tick(2.9)
    assert bench.state() is BusState.LISTENING
    bench.link.tick(3.1)
    assert bench.state() is BusState.SILENT
    status = bench.link.status(3.1)
    assert status.frames == 3
    assert status.last_heard_s == pytest.approx(2.1)
    assert "asleep" in status.sentence


def test_sending_is_told_from_listening_and_no_room_three_times_is_blocked(bench: Bench) -> None:
    bench.link.received(1, 1.0)
    assert bench.link.send(Frame(1, b""), 1.0)
    assert bench.state() is BusState.SENDING
    bench.ports[0].room = False
    for _ in range(3):
        assert not bench.link.send(Frame(1, b""), 1.1)
    assert bench.state() is BusState.BLOCKED
    assert bench.link.status(1.1).no_room == 3
    bench.link.tick(4.0)
    bench.link.received(1, 4.0)
    assert bench.state() is BusState.LISTENING


def test_an_unconfirmed_frame_blocks_and_the_next_that_gets_out_frees(bench: Bench) -> None:
    bench.link.received(1, 1.0)
    bench.link.unconfirmed(1.0)
    assert bench.state() is BusState.BLOCKED
    assert bench.link.send(Frame(1, b""), 1.5)
    assert bench.state() is BusState.SENDING


def test_a_failed_port_is_closed_and_opened_again_with_growing_pauses() -> None:
    bench = Bench(refusals=8)
    assert bench.link.status(0.0).sentence == "drive is not open: can0 is not there; plug it in"
    now, waits = 0.0, []
    before = 0.0
    while bench.tries < 9:
        now += 0.05
        tries = bench.tries
        bench.link.tick(now)
        if bench.tries > tries:
            waits.append(now - before)
            before = now
    assert waits == pytest.approx([*BACK_OFF_S, 5.0, 5.0, 5.0], abs=0.06)
    assert bench.state() is BusState.SILENT
    bench.loop.close()


def test_pauses_are_short_again_once_something_was_heard() -> None:
    bench = Bench(refusals=8)
    for tick in range(600):
        bench.link.tick(tick * 0.1)
    bench.link.received(1, 60.0)
    bench.ports[0].trouble = PortDownError("down")
    bench.link.tick(70.0)
    assert bench.state() is BusState.ABSENT
    assert bench.ports[0].closed
    bench.link.tick(70.2)
    assert len(bench.ports) == 1
    bench.link.tick(70.3)
    assert len(bench.ports) == 2
    bench.loop.close()


def test_whatever_an_opener_raises_is_told_and_tried_again() -> None:
    loop = asyncio.new_event_loop()

    def opener() -> Port:
        raise RuntimeError("a bug")

    link = Link("drive", opener)
    link.start(loop, 0.0)
    assert "a bug" in link.status(0.0).sentence
    assert link.state is BusState.ABSENT
    loop.close()


def test_a_bus_of_errors_only_at_the_described_rate_has_its_oscillator_suspected(bench: Bench) -> None:
    bench.ports[0].controller = Controller("can0", 3, "can", bitrate=500_000, listen_only=True, place="spi0.0")
    bench.link.error_frame(classify(0x008, bytes(8)), 0.6)
    assert "perhaps its oscillator is another one than config.txt says" in bench.link.status(0.9).sentence
    assert "oscillator" not in bench.link.status(5.0).sentence
    bench.link.received(3, 5.0)
    bench.link.error_frame(classify(0x008, bytes(8)), 5.1)
    assert "oscillator" not in bench.link.status(5.2).sentence


def test_error_frames_are_counted_and_a_noisy_bus_is_not_proven(bench: Bench) -> None:
    bench.link.received(300, 0.5)
    bench.link.error_frame(classify(0x008, bytes(8)), 0.6)
    assert not bench.link.proven(2.0)
    bench.link.received(199, 0.7)
    assert not bench.link.proven(2.0)
    bench.link.received(1, 0.8)
    assert not bench.link.proven(1.5)
    assert bench.link.proven(1.7)
    assert "1 error frames" in bench.link.status(0.9).sentence
    assert bench.link.status(0.9).error_frames == 1


def test_three_bus_offs_in_a_minute_end_sending_for_this_journey(bench: Bench) -> None:
    for at in (1.0, 20.0, 50.0):
        bench.link.error_frame(classify(0x040, b""), at)
        assert bench.state() is BusState.BUS_OFF
        bench.link.error_frame(classify(0x100, b""), at + 1)
        assert bench.state() is BusState.SILENT
        bench.link.received(1, at + 1)
    assert bench.state() is BusState.LISTENING
    assert not bench.link.send(Frame(1, b""), 52.0)
    assert "until the next start" in bench.link.status(52.0).sentence


def test_losses_add_up_over_openings(bench: Bench) -> None:
    bench.link.lost(5, 1.0)
    bench.link.lost(7, 1.1)
    bench.link.failed(PortDownError("down"), 2.0)
    bench.link.tick(3.0)
    bench.link.lost(2, 4.0)
    bench.link.foreign(3, 4.0)
    assert (bench.link.status(4.0).lost, bench.link.status(4.0).foreign) == (9, 3)


def test_the_kernel_filters_what_the_table_has_and_everything_while_tapped() -> None:
    bench = Bench(filtered=True)

    def handler(_data: bytes, _at: float) -> None: ...

    def tap(_frame: Frame) -> None: ...

    bench.link.table.add(0x1A0, handler)
    bench.link.tick(0.1)
    bench.link.tick(0.2)
    bench.link.add_tap(tap)
    bench.link.tick(0.3)
    bench.link.remove_tap(tap)
    bench.link.table.add(0x2B0, handler)
    bench.link.tick(0.4)
    assert bench.ports[0].keys == [(0x1A0,), None, (0x1A0, 0x2B0)]
    bench.loop.close()


def test_a_filtered_bus_that_talks_is_not_silent_and_has_a_load() -> None:
    bench = Bench(filtered=True)
    bench.link.tick(0.0)
    bench.link.received(1, 0.1)
    bench.link.sampled(0x1A0, bytes(8))
    for tenth in range(1, 50):
        bench.ports[0].counted = (tenth * 100, tenth * 800)
        bench.link.tick(tenth / 10)
    status = bench.link.status(4.9)
    assert status.state is BusState.LISTENING
    assert status.load == pytest.approx(1000 * 125 / 500_000, rel=0.15)
    bench.loop.close()


def test_several_taps_all_get_the_frame(bench: Bench) -> None:
    first: list[Frame] = []
    second: list[Frame] = []
    bench.link.add_tap(first.append)
    add_second = second.append
    bench.link.add_tap(add_second)
    assert bench.link.tap is not None
    bench.link.tap(Frame(1, b""))
    assert (len(first), len(second)) == (1, 1)


def test_an_interface_nobody_can_look_at_is_opened_afresh_when_it_falls_silent(bench: Bench) -> None:
    bench.ports[0].counted = None
    bench.link.received(1, 1.0)
    bench.link.tick(10.0)
    assert len(bench.ports) == 1
    bench.link.tick(22.0)
    assert bench.ports[0].closed
    bench.link.tick(22.3)
    assert len(bench.ports) == 2


def test_a_closed_link_stays_closed(bench: Bench) -> None:
    bench.link.close()
    bench.link.tick(100.0)
    assert bench.ports[0].closed
    assert len(bench.ports) == 1
    assert not bench.link.send(Frame(1, b""), 100.0)


def test_an_adapter_that_is_pulled_out_and_put_back_is_found_again() -> None:
    async def run() -> list[BusState]:
        bus = MemoryBus("drive")
        link = Link("drive", bus.port, bitrate=500_000)
        states = []
        loop = asyncio.get_running_loop()
        link.start(loop, loop.time())
        for turn, step in enumerate((None, bus.unplug, bus.plug)):
            if step is not None:
                step()
            link.tick(loop.time() + 10.0 * turn)
            bus.inject(Frame(1, b""))
            await asyncio.sleep(0)
            await asyncio.sleep(0)
            states.append(link.state)
        assert link.status(loop.time()).frames == 2
        link.close()
        return states

    assert asyncio.run(run()) == [BusState.LISTENING, BusState.ABSENT, BusState.LISTENING]


def test_frames_heard_just_before_a_bus_off_do_not_hide_it() -> None:
    async def run() -> BusState:
        bus = MemoryBus("drive")
        link = Link("drive", bus.port)
        loop = asyncio.get_running_loop()
        link.start(loop, loop.time())
        bus.inject(Frame(1, b""))
        bus.inject_error(0x040)
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        state = link.state
        link.close()
        return state

    assert asyncio.run(run()) is BusState.BUS_OFF
