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
import sys
import time
from collections.abc import Awaitable, Callable
from typing import Any

import can
import structlog

from underdash.wiring.measuring.receiving import FRAME, Ours, Receiver, Row
from underdash.wiring.measuring.receiving import measure as measure_way

DEFINITION = 'VERSION ""\nBU_: A\nBO_ 416 Moving: 8 A\n SG_ Speed : 23|16@0+ (0.01,0) [0|655.35] "km/h" A\n'


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
            measure_way("ours, nobody wants it", Ours, False, limit=3.0 if burst > 1 else 20.0, **few),
            measure_way("can.Notifier, counted", Theirs, False, **few),
            measure_way("ours, decoded and stored", Ours, True, limit=4.0 if burst > 1 else None, **few),
        ]
        if with_cantools:
            wanted.append(measure_way("can.Notifier + cantools", Theirs, True, **few))
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
