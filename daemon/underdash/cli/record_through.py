"""Recording through the running daemon: it owns the buses, so it writes to a file that this command has opened."""

from __future__ import annotations

import contextlib
import sys
import threading
import time
from collections.abc import Mapping
from math import inf
from pathlib import Path
from typing import Any

from ..bus.health import BusState
from ..bus.trace import new_file
from ..contract.errors import UnderdashError
from ..service.client import Client, DaemonError
from ..wiring.control import socket_paths
from .common import told_to_stop
from .marking import marking
from .record import Outcome

LOOK_S = 0.2
LAST_S = 15.0
"""A daemon whose disk is slow may take this long to finish."""


def record_through(client: Client, out: Path, seconds: float | None, *, marks: bool = True) -> Outcome:
    """Have the daemon record until the time is over or a person stops it.

    Args:
        client: connected to it.
        out: the trace; it must not exist yet.
        seconds: how long; None has a person stop it.
        marks: whether a person sets marks meanwhile.
    """
    print("the running daemon owns the buses and records them", file=sys.stderr)
    with new_file(out) as file:
        try:
            with told_to_stop() as stop, marking(_mark) if marks else contextlib.nullcontext():
                client.begin("record", files=[file.fileno()])
                last = _follow(client, stop, inf if seconds is None else time.monotonic() + seconds)
        except UnderdashError:
            if not file.seek(0, 2):  # nothing was written, so nothing is left behind
                out.unlink(missing_ok=True)
            raise
    if last["failure"]:  # it told how many there were up to a second before
        last = {**last, "frames": _frames_in(out)}
    absent = all(state == BusState.ABSENT.value for state in last.get("buses", {}).values())
    return Outcome(last["frames"], last["dropped"], last["failure"], absent, stop.is_set())


def _frames_in(out: Path) -> int:
    with out.open("rb") as file:
        return sum(line.startswith(b"(") and line.endswith(b"\n") for line in file)


def _mark(word: str) -> None:
    """Have the daemon set a mark; on a connection of its own, since the first is busy with the recording."""
    with Client.connect(socket_paths()) as client:
        client.ask("mark", {"text": word})


def _follow(client: Client, stop: threading.Event, until: float) -> Mapping[str, Any]:
    """Say how it goes; returns what was told last."""
    last: Mapping[str, Any] = {"frames": 0, "dropped": 0, "failure": "", "buses": {}}
    stopped_at = inf
    while True:
        now = time.monotonic()
        if stopped_at == inf and (stop.is_set() or now >= until):
            stopped_at = now
            client.stop()
        if now > stopped_at + LAST_S:
            return {**last, "failure": "the daemon did not finish the recording; its log may say why"}
        try:
            reply = client.next(min(LOOK_S, max(until - now, 0.01)))
        except DaemonError as exc:
            return {**last, "failure": f"{exc}"}
        if reply is None:
            continue
        last = reply.table
        if reply.last:
            return last
        states = ", ".join(f"{role} {state}" for role, state in last["buses"].items())
        print(f"{last['frames']} frames; {states}", file=sys.stderr)
