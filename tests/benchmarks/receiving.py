"""What a received frame costs: this program's way in against python-can's, in one run on one machine.

Frames are struct can_frame through a pair of datagram sockets, so it runs where the kernel has no CAN. Times are
processor time of the receiving thread, in the best of several rounds (others may use the machine too).
Run: python tests/benchmarks/receiving.py
"""

from __future__ import annotations

import argparse
import asyncio
import importlib.util
import select
import socket
import struct
import sys
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

import can
import structlog

from underdash import Bits, BroadcastListener, Field
from underdash.broadcast.decoder import compile_listener
from underdash.bus.link import Link
from underdash.bus.socketcan import SocketCanPort
from underdash.contract.signals import Signal
from underdash.signals.store import Rank, Store

FRAME = struct.Struct("=IB3x8s")
WANTED = 0x1A0
UNWANTED = 0x2B0
GIVE_UP_S = 60.0
LISTENER = BroadcastListener("drive", WANTED, (Field("vehicle.speed", Bits(2, 16), scale=0.01),))
DEFINITION = 'VERSION ""\nBU_: A\nBO_ 416 Moving: 8 A\n SG_ Speed : 23|16@0+ (0.01,0) [0|655.35] "km/h" A\n'


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
        self.link.close()


class _CountingLink(Link):
    def __init__(self, port: SocketCanPort, count: Callable[[int], None]) -> None:
        super().__init__("drive", lambda: port, bitrate=500_000)
        self._count = count

    def received(self, count: int, at: float) -> None:
        super().received(count, at)
        self._count(count)


class Theirs(Receiver):
    """`can.Notifier` in a loop, with a listener that counts or one that decodes with cantools and stores."""

    def __init__(self, loop: asyncio.AbstractEventLoop, end: socket.socket, decoding: bool) -> None:
        super().__init__()
        self.values: dict[str, Any] = {}
        self._bus = _PairBus(end)
        listener = self._decoding_listener() if decoding else self._counting_listener()
        self._notifier = can.Notifier(self._bus, [listener], loop=loop)

    def _counting_listener(self) -> Callable[[can.Message], None]:
        def listen(_message: can.Message) -> None:
            self.count(1)

        return listen

    def _decoding_listener(self) -> Callable[[can.Message], None]:
        import cantools

        database: Any = cantools.database.load_string(DEFINITION, "dbc")

        def listen(message: can.Message) -> None:
            self.values.update(database.decode_message(message.arbitration_id, message.data))
            self.count(1)

        return listen

    def close(self) -> None:
        self._notifier.stop()
        self._bus.shutdown()


class _PairBus(can.BusABC):
    """The library's own SocketCAN receiver, step by step, on a pair of sockets and without the kernel's stamp."""

    def __init__(self, end: socket.socket) -> None:
        self._end = end
        super().__init__(channel="pair")

    def fileno(self) -> int:
        return self._end.fileno()

    def _recv_internal(self, timeout: float | None) -> tuple[can.Message | None, bool]:
        ready, _, _ = select.select([self._end], [], [], timeout)
        if not ready:
            return None, False
        raw, _ancillary, flags, _address = self._end.recvmsg(72, 64)
        can_id, length, data = FRAME.unpack(raw)
        message = can.Message(
            timestamp=time.time(),
            channel="pair",
            arbitration_id=can_id & 0x1FFF_FFFF,
            is_extended_id=bool(can_id & 0x8000_0000),
            is_remote_frame=bool(can_id & 0x4000_0000),
            is_error_frame=bool(can_id & 0x2000_0000),
            is_fd=False,
            is_rx=not flags & socket.MSG_DONTROUTE,
            dlc=length,
            data=data[:length],
        )
        return message, False

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        raise NotImplementedError

    def shutdown(self) -> None:
        super().shutdown()
        self._end.close()


async def _measure(
    way: str,
    make: Callable[[asyncio.AbstractEventLoop, socket.socket, bool], Receiver],
    decoding: bool,
    *,
    frames: int,
    burst: int,
    rounds: int,
    limit: float | None = None,
) -> Row:
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


async def measure(frames: int = 16_000, rounds: int = 5) -> list[Row]:
    """Return all figures, ours and theirs in turn.

    Args:
        frames: frames a round.
        rounds: rounds, of which the best counts.
    """
    rows: list[Row] = []
    with_cantools = importlib.util.find_spec("cantools") is not None
    for burst in (32, 1):
        size = frames if burst > 1 else max(1, frames // 4)
        few: dict[str, Any] = {"frames": size, "burst": burst, "rounds": rounds}
        wanted: list[Awaitable[Row]] = [
            _measure("ours, nobody wants it", Ours, False, limit=3.0 if burst > 1 else 20.0, **few),
            _measure("can.Notifier, counted", Theirs, False, **few),
            _measure("ours, decoded and stored", Ours, True, limit=4.0 if burst > 1 else None, **few),
        ]
        if with_cantools:
            wanted.append(_measure("can.Notifier + cantools", Theirs, True, **few))
        rows += [await row for row in wanted]
    return rows


def table(rows: list[Row]) -> str:
    """Write the figures as a table; the ratio is to the row of theirs that follows."""
    lines = [f"{'way':28}{'burst':>6}{'us/frame':>10}{'budget':>8}{'ratio':>8}  frames"]
    for row, after in zip(rows, [*rows[1:], None], strict=True):
        ours = row.way.startswith("ours") and after is not None and not after.way.startswith("ours")
        ratio = f"1/{after.microseconds / row.microseconds:.1f}" if ours and after is not None else ""
        limit = "" if row.limit is None else f"{row.limit:.0f}"
        right = "ok" if row.counted == row.expected else f"{row.counted} of {row.expected}"
        lines.append(f"{row.way:28}{row.burst:>6}{row.microseconds:>10.2f}{limit:>8}{ratio:>8}  {right}")
    return "\n".join(lines)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=16_000)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    structlog.configure(logger_factory=structlog.PrintLoggerFactory(sys.stderr))
    print(table(asyncio.run(measure(options.frames, options.rounds))))


if __name__ == "__main__":
    main()
