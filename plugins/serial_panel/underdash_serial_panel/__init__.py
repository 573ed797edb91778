"""Serial panel: a panel with a small controller of its own on a serial line.

Start at `PROTOCOL.md`; `device.py` is what the core sees, `session.py` the conversation, `reference.py` a controller.
"""

from __future__ import annotations

from underdash import PanelDriver, PluginInfo, hookimpl

from .settings import Settings


@hookimpl
def plugin() -> PluginInfo:
    """Say who this is."""
    return PluginInfo("serial_panel: a panel with its own controller on a serial line")


@hookimpl
def panel_drivers() -> list[PanelDriver]:
    """Bring the driver."""
    return [PanelDriver("serial_panel", opened, Settings, check=check)]


def opened(table: dict[str, object]) -> object:
    """Return the device; the line is opened when there is something to show, so that this takes no time."""
    import time

    from .device import PixelPanel, ValuesPanel
    from .line import SerialLine
    from .link import Link

    settings, size = _told(table)
    link = Link(settings, size, lambda: SerialLine(settings), time.monotonic, time.monotonic_ns() & 0xFF)
    return PixelPanel(size, link) if settings.mode == "pixels" else ValuesPanel(size, link)


def check(table: dict[str, object]) -> str:
    """Tell what keeps this machine from opening the port, without opening it."""
    from .line import amiss

    return amiss(_told(table)[0])


def _told(table: dict[str, object]) -> tuple[Settings, tuple[int, int]]:
    settings, size = table["settings"], table["size"]
    if not (isinstance(settings, Settings) and isinstance(size, tuple)):
        raise TypeError("a panel's table has its settings and its size")
    return settings, size
