"""What this machine says to the inputs of a configuration: each is looked for, and each sensor read once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from ..config.checking import Finding, Level
from ..contract.errors import UnderdashError
from ..inputs.channels import SYS, Channel
from ..inputs.compiling import Wire
from ..inputs.conversion import electrical, is_alarm
from ..inputs.station import beyond
from ..power.battery import VOLTAGE
from ..power.states import Supply
from ..service.lines import CONSUMER, holder


def findings(wires: Iterable[Wire], *, held: Callable[[str], str] = holder, root: Path = SYS) -> Iterator[Finding]:
    """Say which inputs are not there, and what those that are there give now.

    Args:
        wires: of the assembly.
        held: says who holds a line.
        root: where sysfs is mounted.
    """
    for wire in wires:
        try:
            yield _line(wire, held) if wire.convert is None else _channel(wire, root)
        except UnderdashError as exc:
            step = "it is met when it is there; check its wires and overlay, or remove the table"
            yield Finding(Level.ERROR, f"input {wire.name}: {exc}", step)


def battery(supply: Supply | None, wires: Iterable[Wire]) -> Iterator[Finding]:
    """Say if nobody measures the battery of a sleeping car, where that would end being asleep.

    Args:
        supply: of the accessory.
        wires: of the assembly.
    """
    if supply in (Supply.WAKEABLE, Supply.PERMANENT) and VOLTAGE not in {wire.item.signal for wire in wires}:
        sentence = f"no wire measures {VOLTAGE}, so a low battery is not noticed while the buses sleep: time decides"
        yield Finding(Level.NOTE, sentence, "wire it (config/WIRING.md), or keep power.asleep_s short")


def _line(wire: Wire, held: Callable[[str], str]) -> Finding:
    by = held(wire.item.place)
    if by in ("", CONSUMER):
        return Finding(Level.NOTE, f"input {wire.name}: line {wire.item.place} is there, for {wire.item.signal}")
    step = "choose another line, or take away what holds it (an overlay in config.txt, another program)"
    return Finding(Level.ERROR, f"input {wire.name}: line {wire.item.place} is held by {by!r}", step)


def _channel(wire: Wire, root: Path) -> Finding:
    channel = Channel(wire.item, root)
    found = channel.read()
    value = wire.convert(found) if wire.convert is not None else None
    if value is None:
        step = "check its wires, or let the points reach as far as the sender does"
        return Finding(Level.WARNING, f"input {wire.name}: {beyond(wire.item, found)}", step)
    signal = wire.slot.signal
    if is_alarm(wire.item):
        return Finding(Level.NOTE, f"input {wire.name} reads {signal.name} {'on' if value else 'off'}")
    seen = f"input {wire.name} reads {_electrical(wire, found, channel.unit)}: {signal.name} {value:.4g} {signal.unit}"
    if not wire.slot.low <= value <= wire.slot.high:
        plausible = f"plausible is {signal.low:g} to {signal.high:g} {signal.unit}"
        return Finding(Level.WARNING, f"{seen.rstrip()}; {plausible}", "correct its scale, or its points")
    return Finding(Level.NOTE, seen.rstrip())


def _electrical(wire: Wire, found: float, unit: str) -> str:
    behind, electric = electrical(wire.item)
    text = f"{found:.4g} {unit}"
    return text if electric(found) == found else f"{text}, which is {electric(found):.4g} {behind}"
