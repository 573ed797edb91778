"""``underdash listen --rates``: one pass over the usual bit rates of a bus that was not understood, listening only."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from collections.abc import Awaitable, Callable, Iterable, Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..bus.hearing import Hearing
    from ..bus.rates import Try, Verdict
    from ..config.schema import BusConfig, Config

COMMON_FIRST = (500_000, 250_000, 125_000, 100_000, 1_000_000, 83_333, 50_000, 33_333, 95_238, 800_000, 20_000, 10_000)
"""The order in which rates are tried: what is most frequent in cars comes first (common practice)."""
EACH_S = 1.5
LOOK_S = 0.05


async def try_rates(config: Config, roles: Iterable[str]) -> None:
    """Try every rate on each of these buses and say what was found; raises `SwitchError` where that cannot be done."""
    from ..switching.client import switch
    from ..switching.orders import Mode, Order

    for role in roles:
        bus = config.bus[role]
        if bus.interface != "socketcan":
            print(f"{role}: only interfaces that Linux sets up can be tried at other rates", file=sys.stderr)
            continue

        async def at(bitrate: int, role: str = role, bus: BusConfig = bus) -> Try:
            await asyncio.to_thread(switch, Order(role, Mode.LISTEN, bitrate))
            return await _hear(bus, bitrate)

        with _as_it_was(role, bus) as found:
            verdict = await find(at)
            found.extend([] if verdict.bitrate is None else [verdict.bitrate])
        print(f"{role}: {verdict.sentence}")
        if verdict.bitrate is not None:
            print(
                f"  next: set BitRate={verdict.bitrate} in the interface's .network file, and bitrate = "
                f"{verdict.bitrate} for the bus in the car's description and in [bus.{role}]"
            )


@contextlib.contextmanager
def _as_it_was(role: str, bus: BusConfig) -> Iterator[list[int]]:
    """Leave an interface at the rate that it had, listening only, unless the right one is put into the list."""
    from ..bus.controller import read
    from ..bus.places import resolve
    from ..switching.client import switch
    from ..switching.orders import Mode, Order, SwitchError

    setup = read(resolve(bus.hardware) if bus.hardware else bus.channel)
    found: list[int] = []
    try:
        yield found
    finally:
        if not found and setup is not None and setup.bitrate is not None:
            with contextlib.suppress(SwitchError):  # it listens only, whatever its rate
                switch(Order(role, Mode.LISTEN, setup.bitrate))


async def find(at: Callable[[int], Awaitable[Try]], rates: Iterable[int] = COMMON_FIRST) -> Verdict:
    """Try rates one after the other until one is right; a bus where nobody talks takes the whole pass.

    Args:
        at: listens at a rate.
        rates: bit/s.
    """
    from ..bus.rates import Sign, judge

    tries: list[Try] = []
    for bitrate in rates:
        print(f"trying {bitrate} bit/s", file=sys.stderr)
        tries.append(await at(bitrate))
        if tries[-1].sign is Sign.RIGHT and tries[-1].decided:
            break
    return judge(tries)


async def _hear(bus: BusConfig, bitrate: int) -> Try:
    """Listen on an interface that has just been set to a rate."""
    from ..bus.hearing import Hearing
    from ..bus.link import Link
    from ..bus.opening import BusConfig as Place
    from ..bus.opening import opener

    heard = Hearing()
    link = Link("bus", opener(Place("bus", channel=bus.channel, hardware=bus.hardware)))
    link.add_tap(heard.take)
    loop = asyncio.get_running_loop()
    end = loop.time() + EACH_S
    link.start(loop, loop.time())
    try:
        while loop.time() < end and not _so_far(bitrate, heard).decided:
            link.tick(loop.time())
            await asyncio.sleep(LOOK_S)
    finally:
        link.close()
    return _so_far(bitrate, heard)


def _so_far(bitrate: int, heard: Hearing) -> Try:
    from ..bus.rates import Try

    # an FD frame is a whole one: the arbitration rate is right
    return Try(bitrate, heard.frames + heard.fd, heard.errors)
