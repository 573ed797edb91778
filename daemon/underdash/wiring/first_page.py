"""The first page: in the panels before buses, plug-ins and what they need are even imported.

It shows which page is coming, dashes for its value, and that things are starting, so nothing on it can be wrong. This
module therefore imports the configuration and the display room only. The daemon takes the open panels over.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass

from ..bus.runtime import any_held, runtime_directory
from ..config.panels import PanelConfig, PanelsConfig
from ..contract.pages import Canvas, Page, Role
from ..contract.signals import Snapshot
from ..display.dimming import Dimming
from ..display.kit import Painter
from ..display.panels import Panel, SelfDrawing
from ..display.recorder import record
from ..display.round import Face
from .panels import dimming_options, panel_opener

NOTHING_KNOWN = Snapshot(0.0, {})


@dataclass(frozen=True, slots=True)
class Lit:
    """A panel that is open and shows its first page in this light."""

    device: Panel | SelfDrawing
    level: float


class FirstPage:
    """Opens the panels that need no plug-in, and shows on each that things are starting.

    A panel that does not open or does not take its picture is left to the daemon, which tries again and says so.
    """

    def __init__(self) -> None:
        self._lit: dict[str, Lit] = {}

    def show(self, config: PanelsConfig) -> None:
        """Open the panels and show the page, unless another process has the buses, and with them the panels."""
        if any_held(runtime_directory()):
            return
        # it is not known yet whether it is night, and a driver in the dark must not be dazzled
        level = Dimming(dimming_options(config)).aim(night=True, knob=None)
        for name, panel in config.panel.items():
            with contextlib.suppress(Exception):
                device = panel_opener(name, panel, config, {})()
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


def put(device: Panel | SelfDrawing, page: Page, is_round: bool) -> None:
    """Show a page of which nothing is known."""
    picture = record(page, NOTHING_KNOWN, device.size, None)
    if isinstance(device, SelfDrawing):
        from ..display.content import content_of

        device.tell(content_of(page.name, picture))
    else:
        device.show(*Painter(Face(*device.size, is_round)).paint(picture))
