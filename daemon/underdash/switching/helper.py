"""The helper: carries out one order and ends. Started with the order's connection as its standard input.

What it may do is decided by the configuration, which only root may have written, and by `orders`.
"""

from __future__ import annotations

import fcntl
import json
import os
import socket
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from ..bus.controller import Controller
from ..bus.controller import read as ask_kernel
from ..bus.places import NETWORK, resolve
from ..contract.errors import UnderdashError
from .orders import MOST_BYTES, Order, SwitchError, commands
from .orders import read as read_order

IP = ("/usr/sbin/ip", "/sbin/ip", "/usr/bin/ip")
STEP_S = 5.0
ORDER_S = 2.0
SETTLE_S = 0.01


def main(arguments: Sequence[str] = tuple(sys.argv[1:])) -> int:
    """Serve the connection that is the standard input; the only argument is the configuration's path."""
    if len(arguments) != 1:
        print("usage: python -m underdash.switching.helper CONFIGURATION", file=sys.stderr)
        return 2
    try:
        connection = socket.socket(fileno=os.dup(0))
    except OSError:
        print("underdash: the helper is started by its socket unit, not by hand (systemd/README.md)", file=sys.stderr)
        return 2
    with connection:
        connection.settimeout(ORDER_S)
        answer = serve(_line(connection), Path(arguments[0]))
        connection.sendall(json.dumps(answer).encode() + b"\n")
    return 1 if "error" in answer else 0


def serve(
    line: bytes,
    configuration: Path,
    *,
    run: Callable[[Sequence[str]], None] | None = None,
    ask: Callable[[str], Controller | None] = ask_kernel,
    network: Path = NETWORK,
    owner: int = 0,
) -> dict[str, str]:
    """Carry out the order in a line; returns {"done": interface} or {"error": sentence}.

    Args:
        line: see `orders.spell`.
        configuration: whose `[bus.<role>]` tables say which interfaces may be switched.
        run: runs ip(8) with these arguments; raises SwitchError.
        ask: tells how an interface is set up.
        network: where the kernel shows interfaces.
        owner: user that has to own the configuration.
    """
    try:
        order = read_order(line)
        with configuration.open("rb") as opened:
            _check_owner(configuration, os.fstat(opened.fileno()), owner)
            fcntl.flock(opened, fcntl.LOCK_EX)  # one order at a time
            table = tomllib.load(opened).get("bus", {})
            return {"done": _carry_out(order, table, run or _run, ask, network)}
    except tomllib.TOMLDecodeError as exc:
        return {"error": f"{configuration} cannot be read: {exc}; underdash check tells more"}
    except UnderdashError as exc:
        return {"error": str(exc)}
    except OSError as exc:
        return {"error": f"{configuration}: {exc.strerror or exc}"}


def _check_owner(path: Path, status: os.stat_result, owner: int) -> None:
    if status.st_uid != owner or status.st_mode & 0o022:
        raise SwitchError(
            f"{path} can be written by others than root, so it cannot say what may be switched; "
            f"chown root {path}; chmod go-w {path}"
        )


def _carry_out(
    order: Order,
    buses: Any,
    run: Callable[[Sequence[str]], None],
    ask: Callable[[str], Controller | None],
    network: Path,
) -> str:
    bus = buses.get(order.bus) if isinstance(buses, dict) else None
    if not isinstance(bus, dict):
        raise SwitchError(f"the configuration has no [bus.{order.bus}]; only its buses can be switched")
    if bus.get("interface", "socketcan") != "socketcan":
        raise SwitchError(f'[bus.{order.bus}] is not of interface = "socketcan", so Linux cannot switch it')
    hardware, channel, bitrate = bus.get("hardware", ""), bus.get("channel", ""), bus.get("bitrate")
    name = resolve(str(hardware), network) if hardware else str(channel)
    setup = ask(name)
    if setup is None:
        raise SwitchError(f"there is no interface {name!r}; check its plug")
    steps = commands(order, setup, bitrate if type(bitrate) is int else None)
    _walk(steps, run)
    return name


def _walk(steps: Sequence[Sequence[str]], run: Callable[[Sequence[str]], None]) -> None:
    """Run all steps; if one in the middle fails, the interface is still brought up as it was."""
    run(steps[0])
    try:
        for step in steps[1:-1]:
            run(step)
    finally:
        time.sleep(SETTLE_S)
        run(steps[-1])


def _run(arguments: Sequence[str]) -> None:
    program = next((place for place in IP if os.access(place, os.X_OK)), None)
    if program is None:
        raise SwitchError("there is no ip program; install iproute2: apt install iproute2")
    try:
        done = subprocess.run(
            [program, *arguments], capture_output=True, text=True, timeout=STEP_S, check=False, env={"LC_ALL": "C"}
        )
    except (OSError, subprocess.TimeoutExpired) as exc:
        raise SwitchError(f"ip {' '.join(arguments)} failed: {exc}") from exc
    if done.returncode:
        raise SwitchError(f"ip {' '.join(arguments)} failed: {done.stderr.strip() or done.returncode}")


def _line(connection: socket.socket) -> bytes:
    line = b""
    try:
        while b"\n" not in line and len(line) < MOST_BYTES:
            data = connection.recv(MOST_BYTES - len(line))
            if not data:
                break
            line += data
    except OSError:
        pass
    return line


if __name__ == "__main__":
    sys.exit(main())
