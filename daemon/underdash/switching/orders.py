"""What can be ordered of the helper, and which commands that takes. Pure."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from ..bus.controller import Controller
from ..contract.errors import UnderdashError

LISTENING_RATES = (
    10_000, 20_000, 33_333, 50_000, 83_333, 95_238, 100_000, 125_000, 250_000, 500_000, 800_000, 1_000_000,
)  # fmt: skip
"""bit/s at which any interface may listen: CiA 301 (from memory), and 33.3, 83.3, 95.2, 100 k (common practice)."""
MOST_BYTES = 512


class SwitchError(UnderdashError):
    """An order is refused or failed."""


class Mode(StrEnum):
    """How an interface takes part in its bus."""

    LISTEN = "listen"
    """Neither sends nor acknowledges, so it cannot disturb, whatever its rate."""
    ONE_SHOT = "one-shot"
    """Takes part; what it sends goes out once, heard or not."""
    ACTIVE = "active"
    """Takes part."""


@dataclass(frozen=True, slots=True)
class Order:
    """An order.

    Args:
        bus: role of the bus, as configured.
        mode: how its interface is to take part; None keeps that, and only empties its queue.
        bitrate: bit/s; None keeps it. A rate that is not the configured one may only be listened at.
    """

    bus: str
    mode: Mode | None
    bitrate: int | None = None


def spell(order: Order) -> bytes:
    """Write an order as a line."""
    return json.dumps({"bus": order.bus, "mode": order.mode, "bitrate": order.bitrate}).encode() + b"\n"


def read(line: bytes) -> Order:
    """Read a line.

    Raises:
        SwitchError: it is no order.
    """
    try:
        table: Any = json.loads(line)
    except ValueError:
        table = None
    if not isinstance(table, dict) or set(table) != {"bus", "mode", "bitrate"}:
        raise SwitchError(f"an order is a table of bus, mode and bitrate; found {line[:80]!r}")
    bus, mode, bitrate = table["bus"], table["mode"], table["bitrate"]
    known = mode is None or mode in list(Mode)
    if not isinstance(bus, str) or not known or not (bitrate is None or type(bitrate) is int):
        raise SwitchError(f"an order names a bus, one of {', '.join(Mode)} or null, and a rate or null; found {table}")
    return Order(bus, None if mode is None else Mode(mode), bitrate)


def commands(order: Order, setup: Controller, configured: int | None) -> tuple[tuple[str, ...], ...]:
    """Return the arguments of ip(8) for each step of an order, the first of which takes the interface down.

    Args:
        order: what is wanted.
        setup: how the interface is now.
        configured: bit/s of the configuration; None if it says nothing.

    Raises:
        SwitchError: it may not be done, or this adapter cannot do it.
    """
    if not setup.real:
        raise SwitchError(f"{setup.name} is a {setup.kind or 'link'} without a controller; there is nothing to switch")
    options = _options(order, setup, configured) if order.mode is not None else ()
    link = ("link", "set", "dev", setup.name)
    change = ((*link, "type", "can", *options),) if options else ()
    return ((*link, "down"), *change, (*link, "up"))


def _options(order: Order, setup: Controller, configured: int | None) -> tuple[str, ...]:
    _check_rate(order, setup, configured)
    _check_mode(order, setup)
    wanted: Mapping[str, bool] = {
        "listen-only": order.mode is Mode.LISTEN,
        "one-shot": order.mode is Mode.ONE_SHOT,
    }
    present = {"listen-only": setup.listen_only, "one-shot": setup.one_shot}
    options: tuple[str, ...] = () if order.bitrate is None else ("bitrate", str(order.bitrate))
    for name, on in wanted.items():
        # a driver without a mode refuses to hear of it, even to switch it off
        if on is not present[name]:
            options += (name, "on" if on else "off")
    return options


def _check_rate(order: Order, setup: Controller, configured: int | None) -> None:
    rate = setup.bitrate if order.bitrate is None else order.bitrate
    if order.mode is Mode.LISTEN:
        if order.bitrate is not None and order.bitrate not in (*LISTENING_RATES, configured):
            rates = ", ".join(map(str, LISTENING_RATES))
            raise SwitchError(f"{order.bitrate} bit/s is no rate to listen at; there are {rates}")
        return
    if configured is None:
        raise SwitchError(
            f"[bus.{order.bus}] says no bitrate, so {setup.name} may only listen; write there what was proven, such as "
            f"bitrate = {rate or 500_000}"
        )
    if rate != configured:
        raise SwitchError(
            f"{setup.name} may only take part at the configured {configured} bit/s, not at {rate}; correct bitrate in "
            f"[bus.{order.bus}] if it is wrong"
        )


def _check_mode(order: Order, setup: Controller) -> None:
    if order.mode is Mode.LISTEN and setup.may_listen_only is False:
        raise SwitchError(f"the adapter at {setup.name} cannot listen only; use one that can until the rate is proven")
    if order.mode is Mode.ONE_SHOT and setup.may_one_shot is False:
        raise SwitchError(f"the adapter at {setup.name} has no one-shot mode, so nothing can be proven by asking once")
