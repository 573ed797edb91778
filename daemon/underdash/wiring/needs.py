"""What a configuration needs of a machine's devices: who wants which file, which line and which SPI controller."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass

from ..config.schema import Config
from ..contract.errors import UnderdashError
from ..contract.pages import PanelDriver
from ..contract.sources import InputKind
from ..display.panels.wire import SpiSettings
from .drivers import core_drivers
from .panels import panel_table


@dataclass(frozen=True, slots=True)
class Needs:
    """Each entry begins with who wants it, in words: "panel main", "bus.drive", "input key".

    Attributes:
        spi: panels on SPI.
        files: devices by their path.
        lines: GPIO lines by their name.
        tried: those of whom `check` tries by other ways, as the user who asks, whether they get what they want.
    """

    spi: tuple[tuple[str, SpiSettings], ...] = ()
    files: tuple[tuple[str, str], ...] = ()
    lines: tuple[tuple[str, str], ...] = ()
    tried: frozenset[str] = frozenset()


def needs(config: Config, drivers: Mapping[str, PanelDriver]) -> Needs:
    """Say what a configuration needs.

    Args:
        config: the configuration.
        drivers: of panels that plug-ins bring, by name.
    """
    drivers = {**core_drivers(config), **drivers}
    panels = dict(_panels(config, drivers))
    spi = tuple((who, one) for who, one in panels.items() if isinstance(one, SpiSettings))
    lines = [(f"{who} ({what})", name) for who, one in spi for what, name in (("dc", one.dc), ("reset", one.reset))]
    lights = ((f"panel {name}", panel.backlight) for name, panel in config.panel.items())
    lines += [(f"{who} (backlight)", light.line) for who, light in lights if light is not None]
    lines += [(f"input {name}", one.line) for name, one in config.input.items() if one.kind is InputKind.GPIO]
    lines.append(("power.hold_line", config.power.hold_line))
    files = [(who, path) for who, one in panels.items() for path in _paths(one)]
    files += [(who, f"/dev/spidev{one.spi.removeprefix('spi')}") for who, one in spi]
    files += [(f"bus.{role}", bus.channel) for role, bus in config.bus.items() if bus.channel.startswith("/dev/")]
    tried = {"power.hold_line", *(f"input {name}" for name in config.input)}
    for name, panel in config.panel.items():
        if panel.driver in drivers and drivers[panel.driver].check:
            tried.add(f"panel {name}")
    return Needs(spi, tuple(files), tuple((who, name) for who, name in lines if name), frozenset(tried))


def _panels(config: Config, drivers: Mapping[str, PanelDriver]) -> Iterator[tuple[str, object]]:
    """Yield each panel with its driver's settings; those that do not fit are told elsewhere."""
    for name, panel in config.panel.items():
        driver = drivers.get(panel.driver)
        if driver is not None:
            try:
                yield f"panel {name}", panel_table(name, panel, config, driver).get("settings")
            except UnderdashError:
                continue


def _paths(settings: object) -> Iterator[str]:
    """Yield the devices that a driver's settings name."""
    if is_dataclass(settings) and not isinstance(settings, SpiSettings | type):
        for one in fields(settings):
            value = getattr(settings, one.name)
            if isinstance(value, str) and value.startswith("/dev/"):
                yield value
