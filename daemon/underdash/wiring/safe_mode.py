"""What stands in where the plug-in that the car or a panel rests on does not run, so that the daemon stays up.

It may be left out in safe mode, or refused: broken by an upgrade, in a car where nobody has a keyboard. Ending with
an error would have the service manager begin it again and again, or leave the panels dark without a word. So the car is
one of which nothing is known: interfaces that Linux runs are listened to, which tells whether the car is awake, and
nothing is ever sent. A panel whose driver is missing stays dark, the others show the status page.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import replace

from ..config.schema import Config
from ..contract.cars import BusDescription, CarDescription
from .past import Past

RATE_UNKNOWN = 0
WITHOUT_RATE = ("socketcan", "virtual", "memory", "trace")
"""Kinds of interfaces that are opened without a bit rate of ours."""


def heard_only(config: Config) -> Config:
    """Return a configuration whose buses are listened to, less those that need a bit rate to be opened."""
    buses = {role: bus for role, bus in config.bus.items() if bus.interface in WITHOUT_RATE}
    return replace(config, bus={role: replace(bus, transmit=False) for role, bus in buses.items()})


def no_car(config: Config) -> CarDescription:
    """Return a car of which nothing is known but that it has these buses."""
    buses = tuple(BusDescription(role, RATE_UNKNOWN) for role in config.bus)
    return CarDescription("no-car", "no car", buses)


def without_dark(config: Config, drivers: Container[str], past: Past, refused: str = "") -> Config:
    """Return a configuration without the panels whose driver nobody brings this time, each of which is told.

    Args:
        config: what the owner wrote.
        drivers: there are.
        past: is told.
        refused: plug-ins that do not run, and why.
    """
    lit = {name: panel for name, panel in config.panel.items() if panel.driver in drivers}
    for name, panel in config.panel.items():
        if name not in lit:
            where = " in safe mode" if past.safe else f" ({refused})"
            past.misses(f"panel {name} stays dark: nobody brings its driver {panel.driver!r}{where}")
    return config if len(lit) == len(config.panel) else replace(config, panel=lit)
