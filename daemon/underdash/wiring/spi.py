"""Whether panels and CAN adapters get into each other's way on SPI, and whether panels are turned as a panel can be.

A chunk of 4096 bytes holds an SPI controller for a millisecond or so. In that time two frames can come in on a bus of
500 kbit/s, and an MCP2515 has room for two only: so a panel does not share its controller with one. An MCP251xFD
has room for many more.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path

from ..bus.places import NETWORK, resolve
from ..bus.port import PortAbsentError
from ..config.checking import Finding, Level
from ..config.panels import PanelConfig
from ..config.schema import Config
from ..display.panels.wire import SpiSettings

LOST_AFTER_S = 0.2e-3
"""Two frames of eight bytes come in 0.44 ms at 500 kbit/s; half of that is left to Linux (common practice)."""
ROOMY = "mcp251xfd"
"""Driver of controllers that keep more than two frames."""
ASKEW_DEG = 12.0
"""From here on a turned rectangle has lost so much in its corners that it is told."""


def spi_of(interface: str, network: Path = NETWORK) -> tuple[int, int] | None:
    """Return the SPI controller and chip select that a CAN interface is on, None if it is on none."""
    place = (network / interface / "device").resolve().name
    found = re.fullmatch(r"spi(\d+)\.(\d+)", place)
    return None if found is None else (int(found[1]), int(found[2]))


def spi_findings(
    panels: Mapping[str, SpiSettings],
    adapters: Mapping[str, tuple[str, tuple[int, int] | None]],
    network: Path = NETWORK,
) -> Iterator[Finding]:
    """Tell who is in whose way.

    Args:
        panels: settings of the panels on SPI, by their name.
        adapters: by the bus's role, its interface and what `spi_of` found for it.
        network: the kernel's folder of interfaces.
    """
    taken: dict[tuple[int, int], str] = {}
    for name, settings in panels.items():
        other = taken.setdefault(settings.numbers, name)
        if other != name:
            yield Finding(
                Level.ERROR,
                f"panels {other} and {name} are both at {settings.spi}",
                "give each a chip select of its own",
            )
        for role, (interface, numbers) in adapters.items():
            if numbers == settings.numbers:
                sentence = f"panel {name} and the CAN adapter {interface} (bus.{role}) are both at {settings.spi}"
                yield Finding(Level.ERROR, sentence, "wire the panel to another chip select, and set `spi` to it")
            elif numbers is not None and numbers[0] == settings.numbers[0]:
                shares = (
                    f"panel {name} shares SPI controller {numbers[0]} with the CAN adapter {interface} (bus.{role})"
                )
                driver = (network / interface / "device" / "driver").resolve().name
                yield _shared(shares, settings, roomy=driver == ROOMY)


def _shared(shares: str, settings: SpiSettings, *, roomy: bool) -> Finding:
    busy_s = settings.chunk_bytes * 8 / settings.speed_hz
    if roomy or busy_s <= LOST_AFTER_S:
        return Finding(Level.NOTE, f"{shares}; pixels hold it for {busy_s * 1e3:.2f} ms at a time, which it bears")
    sentence = f"{shares}; pixels hold it for {busy_s * 1e3:.1f} ms at a time, and frames can get lost meanwhile"
    most = int(LOST_AFTER_S * settings.speed_hz / 8 // 64 * 64)
    lower = f"lower its chunk_bytes to {most}" if most >= 64 else "raise its speed_hz"
    return Finding(Level.WARNING, sentence, f"wire the panel to another controller, such as spi1.0, or {lower}")


def adapters(config: Config, network: Path = NETWORK) -> dict[str, tuple[str, tuple[int, int] | None]]:
    """Return where the CAN interfaces of a configuration are on SPI, by the bus's role; absent ones are left out."""
    found = {}
    for role, bus in config.bus.items():
        if bus.interface != "socketcan":
            continue
        try:
            interface = bus.channel or resolve(bus.hardware, network)
        except PortAbsentError:
            continue
        found[role] = interface, spi_of(interface, network)
    return found


def turned(name: str, panel: PanelConfig) -> Iterator[Finding]:
    """Tell of a shape or an angle at which part of the picture is lost."""
    across, down = panel.size
    if panel.round and across != down:
        sentence = (
            f"panel {name} is round but {across} pixels across and {down} down; what is outside the circle is dark"
        )
        yield Finding(Level.WARNING, sentence, "write round = false, or the size of the circle")
    off = abs((panel.rotation + 45.0) % 90.0 - 45.0)
    if not panel.round and off > ASKEW_DEG:
        sentence = f"panel {name} is turned by {panel.rotation:g} degrees, so the corners of its pages are cut off"
        yield Finding(
            Level.WARNING, sentence, "turn the bracket nearer to a right angle; `rotation` evens out the rest"
        )
