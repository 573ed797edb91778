"""The two ways of asking by hand: through the running daemon, and with the same wiring started here without panels."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Protocol

from ..contract.errors import GivenError
from ..service.client import Client, DaemonError
from .common import config, uninterrupted

if TYPE_CHECKING:
    from ..wiring.by_hand import ByHand
    from ..wiring.daemon import Daemon

LOOK_S = 0.1
OPEN_S = 15.0
"""How long after its start a guard may take to open: it proves the rate and recognises the car first."""
TELL_S = 3.0
ANSWER_S = 45.0
DEMO_SPEED = 20.0

Table = Mapping[str, Any]


class Way(Protocol):
    """Asks, one request at a time."""

    def plan(self, query: Table) -> Table:
        """Say what a query means, and send nothing."""

    def ask(self, query: Table) -> Table:
        """Return what came of it."""

    def wait(self, seconds: float) -> None:
        """Let time pass, less if a person wants the end."""


class Through:
    """Asks through the running daemon.

    Args:
        client: connected.
        stop: set once a person wants the end.
    """

    def __init__(self, client: Client, stop: threading.Event) -> None:
        self._client = client
        self._stop = stop

    def plan(self, query: Table) -> Table:
        """Say what a query means, and send nothing."""
        return self._client.ask("ask", {**query, "plan": True})

    def ask(self, query: Table) -> Table:
        """Return what came of it."""
        self._client.begin("ask", query)
        until = time.monotonic() + ANSWER_S
        stopped = False
        while time.monotonic() < until:
            reply = self._client.next(LOOK_S)
            if reply is not None and reply.last:
                return reply.table
            if self._stop.is_set() and not stopped:
                stopped = True
                self._client.stop()
        raise DaemonError(f"the daemon did not answer within {ANSWER_S:g} s; its log may say why")

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self._stop.wait(seconds)


class Own:
    """Asks on buses of this process.

    Args:
        daemon: started, with nothing to poll.
        by_hand: of that daemon.
        loop: its loop.
        stop: set once a person wants the end.
    """

    def __init__(self, daemon: Daemon, by_hand: ByHand, loop: asyncio.AbstractEventLoop, stop: threading.Event) -> None:
        self._daemon = daemon
        self._by_hand = by_hand
        self._loop = loop
        self._stop = stop
        self._open: set[str] = set()

    def plan(self, query: Table) -> Table:
        """Say what a query means, and send nothing."""
        return self._by_hand.plan(query)

    def ask(self, query: Table) -> Table:
        """Return what came of it."""
        self._wait_until_open(self._by_hand.plan(query)["bus"])
        came: list[Table] = []

        def done(table: Table) -> None:
            came.append(table)
            self._loop.stop()

        self._by_hand.ask(query, done)
        self._run_until(lambda: bool(came))
        self._by_hand.cancel()
        return came[0]

    def wait(self, seconds: float) -> None:
        """Let time pass; the buses are heard meanwhile."""
        until = time.monotonic() + seconds
        self._run_until(lambda: time.monotonic() >= until)

    def _wait_until_open(self, bus: str) -> None:
        """Let the guard get to know bus, car and ignition, once a bus."""
        if bus in self._open:
            return
        self._open.add(bus)
        guard, begun = self._daemon.sending.guard, self._loop.time()
        said: list[str] = []

        def settled() -> bool:
            waited = self._loop.time() - begun
            refusal = guard.standing(bus, self._loop.time())
            if refusal is not None and waited > TELL_S and not said:
                said.append(refusal.sentence)
                print(f"waiting up to {OPEN_S:g} s: {refusal.sentence}", file=sys.stderr)
            return refusal is None or waited > OPEN_S

        self._run_until(settled)

    def _run_until(self, condition: Callable[[], bool]) -> None:
        while True:
            self._loop.call_later(LOOK_S, self._loop.stop)
            self._loop.run_forever()
            if condition() or self._stop.is_set():
                return


@contextlib.contextmanager
def by_itself(arguments: argparse.Namespace, stop: threading.Event) -> Iterator[Own]:
    """Start the daemon's wiring without panels and without its polls; yield what asks on it."""
    from ..wiring.building import build
    from ..wiring.by_hand import ByHand
    from .run import confirm

    read = config(arguments)
    if not read.bus:
        raise GivenError(f"{read.path}: no [bus.<role>] in it, so there is nobody to ask")
    if arguments.attended:
        confirm(input)
    with uninterrupted():
        loop = asyncio.SelectorEventLoop()
    with contextlib.ExitStack() as ending:
        ending.callback(loop.close)
        built = build(replace(read, panel={}), loop, attended=arguments.attended)
        ending.callback(built.release)
        ending.callback(built.keep)
        ending.callback(built.daemon.stop)
        by_hand = ByHand(built.daemon, loop, alone=True)
        ending.callback(by_hand.close)
        built.daemon.start()
        yield Own(built.daemon, by_hand, loop, stop)


@contextlib.contextmanager
def simulated(car: str, stop: threading.Event) -> Iterator[Own]:
    """Yield what asks a simulated car that stands with its ignition on; its time runs faster than the clock."""
    from ..pace import paced_loop
    from ..simulator.scripts import STANDING
    from ..wiring.by_hand import ByHand
    from ..wiring.demo import Demo

    with uninterrupted():
        loop = paced_loop(DEMO_SPEED)
    with contextlib.ExitStack() as ending:
        ending.callback(loop.close)
        demo = Demo(car, loop, script=STANDING)
        by_hand = ByHand(demo.daemon, loop, alone=True)
        ending.callback(demo.station.stop)
        ending.callback(demo.daemon.stop)
        ending.callback(by_hand.close)
        demo.station.start()
        demo.daemon.start()
        print(f"a simulated car, {DEMO_SPEED:g} times as fast as the clock", file=sys.stderr)
        yield Own(demo.daemon, by_hand, loop, stop)
