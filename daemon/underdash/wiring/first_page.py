"""The first page: in the panels before buses, plug-ins and what they need are even imported.

It shows which page is coming, dashes for its value, and that things are starting, so nothing on it can be wrong. This
module therefore imports the configuration and the display room only. The daemon takes the open panels over.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, NamedTuple

from ..bus.runtime import any_held, runtime_directory
from ..config.panels import PanelConfig, PanelsConfig
from ..contract.pages import Canvas, Page, PanelDriver, Role
from ..contract.signals import Snapshot
from ..display.dimming import Dimming
from ..display.kit import Painter
from ..display.panels import Panel, SelfDrawing
from ..display.recorder import record
from ..display.round import Face
from .panels import dimming_options, panel_opener

if TYPE_CHECKING:
    from ..config.schema import Config

Opened = Panel | SelfDrawing
NOTHING_KNOWN = Snapshot(0.0, {})


class Lit(NamedTuple):
    """A panel that is open and shows its first page in this light."""

    device: Opened
    level: float


class FirstPage:
    """Opens the panels, and shows on each that things are starting.

    A panel that does not open or does not take its picture is left to the daemon, which tries again and says so.
    """

    def __init__(self) -> None:
        self._lit: dict[str, Lit] = {}

    def show(self, config: PanelsConfig) -> None:
        """Open the panels and show the page, unless another process has the buses, and with them the panels."""
        self._show(config, {}, lambda device: device)

    def show_brought(self, config: Config, left_out: Callable[[str, bool], str]) -> None:
        """Do so on panels whose driver has the name of the plug-in that brings it, before other plug-ins are loaded.

        Such a driver may take its time, so each is called in a thread of its own.

        Args:
            config: all of the configuration.
            left_out: see `load`.
        """
        wanted = {panel.driver for name, panel in config.panel.items() if name not in self._lit}
        tables = {name: table for name, table in config.settings.items() if name in wanted}
        if not tables:
            return
        from ..collecting import collect
        from ..display.writer import writer
        from ..loading import load

        brought = collect(load(tables, source=config.source, left_out=left_out), "panel_drivers").items
        drivers = {driver.name: driver for _, driver in brought if isinstance(driver, PanelDriver)}
        if drivers:
            self._show(config, drivers, lambda device: writer(device, lambda sentence: None))

    def _show(
        self, config: PanelsConfig, drivers: Mapping[str, PanelDriver], called: Callable[[Opened], Opened]
    ) -> None:
        if any_held(runtime_directory()):
            return
        # it is not known yet whether it is night, and a driver in the dark must not be dazzled
        level = Dimming(dimming_options(config)).aim(night=True, knob=None)
        for name, panel in config.panel.items():
            if name in self._lit or (drivers and panel.driver not in drivers):
                continue
            with contextlib.suppress(Exception):
                device = called(panel_opener(name, panel, config, drivers)())
                self._lit[name] = Lit(device, level)
                put(device, starting(panel), panel.round)
                device.dim(level)

    def take(self, name: str) -> Lit | None:
        """Hand a panel over, once; None if it is not open."""
        return self._lit.pop(name, None)

    def close(self) -> None:
        """Give back the panels that nobody took."""
        while self._lit:
            with contextlib.suppress(Exception):
                self._lit.popitem()[1].device.close()


def starting(panel: PanelConfig) -> Page:
    """Return what a panel shows before anything is known: the name of its first page, and dashes."""
    name = panel.deck[0]

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.title(name.replace("_", " "))
        canvas.figure(snapshot.reading(name))
        canvas.remark("starting", Role.SOFT)

    return Page(name, name, draw, ())


def put(device: Opened, page: Page, is_round: bool) -> None:
    """Show a page of which nothing is known."""
    picture = record(page, NOTHING_KNOWN, device.size, None)
    if isinstance(device, SelfDrawing):
        from ..display.content import content_of

        device.tell(content_of(page.name, picture))
    else:
        device.show(*Painter(Face(*device.size, is_round)).paint(picture))
