"""What a received frame costs: struct can_frame through a pair of datagram sockets, so that no kernel CAN is needed.

Times are processor time of the receiving thread, in the best of several rounds (others may use the machine too).
"""

from __future__ import annotations

import asyncio
import socket
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass

from ...broadcast.decoder import compile_listener
from ...bus.link import Link
from ...bus.socketcan import SocketCanPort
from ...contract.layout import Bits, BroadcastListener, Field
from ...contract.signals import Signal
from ...signals.store import Rank, Store

FRAME = struct.Struct("=IB3x8s")
WANTED = 0x1A0
UNWANTED = 0x2B0
GIVE_UP_S = 60.0
LISTENER = BroadcastListener("drive", WANTED, (Field("vehicle.speed", Bits(2, 16), scale=0.01),))


@dataclass(frozen=True)
class Row:
    """A figure: microseconds a frame, and how many frames were counted and how many should have been."""

    way: str
    burst: int
    microseconds: float
    counted: int
    expected: int
    limit: float | None = None


class Receiver:
    """One way to receive; it sends itself the next burst as soon as one has come, and keeps that out of the time."""

    def __init__(self) -> None:
        self.counted = 0
        self._burst_ends = 0
        self._run_ends = 0
        self._send: Callable[[], None] = lambda: None
        self._sending_s = 0.0
        self._done: asyncio.Future[None] | None = None

    async def run(self, near: socket.socket, raw: bytes, bursts: int, burst: int) -> float:
        """Receive so many bursts; return processor seconds a frame."""

        def send() -> None:
            before = time.thread_time()
            self._burst_ends = self.counted + burst
            for _ in range(burst):
                near.send(raw)
            self._sending_s += time.thread_time() - before

        self._send, self._sending_s = send, 0.0
        self._run_ends = self.counted + bursts * burst
        self._done = asyncio.get_running_loop().create_future()
        before = time.thread_time()
        send()
        await self._done
        return (time.thread_time() - before - self._sending_s) / (bursts * burst)

    def count(self, frames: int) -> None:
        """Take note of frames received."""
        self.counted += frames
        if self.counted >= self._run_ends:
            if self._done is not None and not self._done.done():
                self._done.set_result(None)
        elif self.counted >= self._burst_ends:
            self._send()

    def close(self) -> None:
        """Give everything back."""


class Ours(Receiver):
    """The descriptor reader under a link, with nobody or a decoder behind it."""

    def __init__(self, loop: asyncio.AbstractEventLoop, end: socket.socket, decoding: bool) -> None:
        super().__init__()
        self.store = Store({"vehicle.speed": Signal("vehicle.speed", "km/h", "speed", low=0.0, high=400.0)})
        self.slot = self.store.slot("vehicle.speed", "drive 1A0", Rank.BROADCAST)
        self.link = _CountingLink(SocketCanPort("pair", lambda: end), self.count)
        if decoding:
            decoder = compile_listener(LISTENER, {"vehicle.speed": self.slot})
            self.link.table.add(decoder.key, decoder.handle)
        self.link.start(loop, time.monotonic())

    def close(self) -> None:
        """Close the link."""
        self.link.close()


class _CountingLink(Link):
    def __init__(self, port: SocketCanPort, count: Callable[[int], None]) -> None:
        super().__init__("drive", lambda: port, bitrate=500_000)
        self._count = count

    def received(self, count: int, at: float) -> None:
        super().received(count, at)
        self._count(count)


async def measure(
    way: str,
    make: Callable[[asyncio.AbstractEventLoop, socket.socket, bool], Receiver],
    decoding: bool,
    *,
    frames: int,
    burst: int,
    rounds: int,
    limit: float | None = None,
) -> Row:
    """Measure one way to receive.

    Args:
        way: what it is called.
        make: makes it, of a loop, the end to receive from, and whether to decode.
        decoding: whether frames are decoded and stored.
        frames: in a round.
        burst: frames that come together.
        rounds: of which the best counts.
        limit: its budget in microseconds a frame.
    """
    bursts = max(1, frames // burst)
    near, far = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    far.setblocking(False)
    receiver = make(asyncio.get_running_loop(), far, decoding)
    raw = FRAME.pack(WANTED if decoding else UNWANTED, 8, bytes((0, 0, 0x12, 0x34, 0, 0, 0, 0)))
    try:
        async with asyncio.timeout(GIVE_UP_S):
            seconds = [await receiver.run(near, raw, bursts, burst) for _ in range(rounds)]
    finally:
        receiver.close()
        near.close()
    expected = rounds * bursts * burst
    if decoding and isinstance(receiver, Ours) and receiver.slot.count != expected:
        expected = receiver.slot.count
    return Row(way, burst, min(seconds) * 1e6, receiver.counted, expected, limit)
