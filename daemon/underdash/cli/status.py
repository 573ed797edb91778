"""``underdash status``: buses, guard, requests, signals and plug-ins of the running daemon."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping
from typing import Any


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--json", action="store_true", help="everything, as one JSON object")


def run(arguments: argparse.Namespace) -> int:
    """Ask the daemon and print what it says."""
    from ..contract.errors import UnderdashError
    from ..service.client import Client
    from ..wiring.control import socket_paths

    with Client.connect(socket_paths()) as client:
        table = client.ask("status")
    if arguments.json:
        print(json.dumps(table, indent=1))
        return 0
    try:
        lines = list(_lines(table))
    except (KeyError, TypeError, AttributeError) as exc:
        raise UnderdashError("the daemon is of another version than this command; restart it") from exc
    print("\n".join(lines))
    return 0


def _lines(table: Mapping[str, Any]) -> Iterator[str]:
    car = table["car"]
    pages = ", ".join(f"{page} on {panel}" for panel, page in table["pages"].items()) or "no panel"
    yield f"{car['title'] or car['name']}: {table['power']}; {table['ignition']['why']}; page {pages}"
    if table["power_off_waits"]:
        yield f"power    {table['power_off_waits']}"
    yield f"car      {car['recognised']}"
    for bus in table["buses"]:
        yield (
            f"bus      {bus['sentence']}; {bus['load']:.1%} taken, {bus['frames']} frames{_taking_part(bus)}"
            + _losses(bus)
        )
    yield from (f"input    {one['sentence'].removeprefix('input ')}" for one in table["inputs"])
    yield f"guard    {_guard(table)}"
    yield from (f"closed   {sentence}" for sentence in table["closed"])
    asking = table["asking"]
    yield (
        f"asked    {asking['sent']}, answered {asking['answered']}, late {asking['late']}, missed {asking['missed']}, "
        f"negative {asking['negative']}"
    )
    yield from (f"poll     {poll['sentence']}" for poll in table["polls"] if poll["wanted"] or poll["parked"])
    for panel, rate in table["rates"].items():
        yield f"rate     {rate['signal']} on page {rate['page']}, panel {panel}: {rate['sentence']}"
    for name, reading in table["signals"].items():
        yield f"signal   {name:<34} {_value(reading)}"
    plugins = table["plugins"]
    yield f"plug-ins {', '.join(plugins['running']) or 'none'}"
    yield from (f"refused  {sentence}" for sentence in plugins["refused"])
    yield from (f"problem  {sentence}" for sentence in table["problems"])
    yield from (f"fault    {sentence}" for sentence in table["faults"])


def _taking_part(bus: Mapping[str, Any]) -> str:
    """Say whether the interface can disturb the bus, and how its controller is, as far as that is known."""
    if bus["virtual"] or bus["state"] == "absent":
        return ", listening only" if bus["silent"] else ""
    part = {True: "listening only", False: "taking part", None: "no telling whether it only listens"}[bus["silent"]]
    setup = bus["controller"]
    if setup is None or setup["bitrate"] is None:
        return f", {part}"
    return f", {part} at {setup['bitrate']} bit/s" + (f", {setup['condition']}" if setup["condition"] else "")


def _losses(bus: Mapping[str, Any]) -> str:
    parts = [f"{bus[key]} {words}" for key, words in (("error_frames", "error frames"), ("lost", "lost")) if bus[key]]
    return "".join(f", {part}" for part in parts)


def _guard(table: Mapping[str, Any]) -> str:
    guard = table["guard"]
    held = ", ".join(f"{reason} {count}" for reason, count in guard.items() if reason != "passed")
    text = f"let out {guard.get('passed', 0)}" + (f", held back: {held}" if held else "")
    return f"QUIET until underdash quiet off; {text}" if table["quiet"] else text


def _value(reading: Mapping[str, Any]) -> str:
    old = reading["seconds_old"]
    if old is None:
        return "--"
    doubt = "" if reading["quality"] == "good" else f" ({reading['quality']})"
    value = f"{reading['shown']} {reading['unit']}".rstrip()
    return f"{value}{doubt}  {reading['age']}, {old:.1f} s old, {reading['source']}"
