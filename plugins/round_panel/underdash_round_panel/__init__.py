"""Round panel: 240x240 pixels, SPI, with the GC9A01 controller.

Start at `controller.py`; `tables.py` holds what the controller is told first.
"""

from __future__ import annotations

from underdash import PanelDriver, PluginInfo, UnderdashError, hookimpl

from .settings import SIZE, Settings


@hookimpl
def plugin() -> PluginInfo:
    """Say who this is."""
    return PluginInfo("round_panel: a round panel with the GC9A01 controller on SPI")


@hookimpl
def panel_drivers() -> list[PanelDriver]:
    """Bring the driver."""
    return [PanelDriver("round_panel", opened, Settings, check=check, dims=False)]


def opened(table: dict[str, object]) -> object:
    """Return the panel; the wire is opened when there is something to show, so that this takes no time.

    Raises:
        UnderdashError: the configuration gives it another size.
    """
    from underdash.drivers import WiredPanel, open_wire

    from .controller import begun

    settings = table["settings"]
    if not isinstance(settings, Settings):
        raise TypeError("a panel's table has its settings")
    amiss = check(table)
    if amiss:
        raise UnderdashError(amiss)
    return WiredPanel(SIZE, lambda: open_wire(settings), lambda wire: begun(wire, settings))


def check(table: dict[str, object]) -> str:
    """Say why the panel's size cannot be the controller's, "" if it can."""
    size = table["size"]
    return "" if size == SIZE else f"a round panel with a GC9A01 has size = [{SIZE[0]}, {SIZE[1]}], not {size}"
