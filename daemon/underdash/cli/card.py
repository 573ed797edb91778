"""``underdash page test-card``: a card that shows how a panel is wired and set, as a picture or on the panel itself."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from ..contract.errors import GivenError

if TYPE_CHECKING:
    from ..config.schema import Config

NAME = "test-card"
SEEN = (
    "the arrow points up, the line runs along the whole edge, the bars are red, green, blue from the left, on black. "
    "Else look at rotation, size, round and the driver's settings in [panel.<name>]"
)


def show_card(arguments: argparse.Namespace) -> int:
    """Show the card: the running daemon does, on all panels or the one named; else one is opened here until Enter."""
    from ..service.client import Client, NoDaemonError
    from ..wiring.control import socket_paths
    from .common import config

    try:
        client = Client.connect(socket_paths())
    except NoDaemonError:
        if not arguments.config:
            raise GivenError(
                "page test-card: no daemon runs; --config F --panel NAME shows it on a panel, --out F.png draws it"
            ) from None
        there = config(arguments)
        return _opened(there, _panel(there, arguments.panel))
    wanted = {} if arguments.panel is None else {"panel": arguments.panel}
    with client:
        shown = client.ask("page", {"show": NAME, **wanted})["pages"]
    where = ", ".join(panel for panel, page in shown.items() if page == NAME)
    print(f"the running daemon shows the card on {where}; turning the page ends it. {SEEN[0].upper()}{SEEN[1:]}.")
    return 0


def _panel(there: Config, wanted: str | None) -> str:
    names = ", ".join(there.panel) or "none"
    if wanted is None and len(there.panel) == 1:
        return next(iter(there.panel))
    if wanted not in there.panel:
        found = "is missing" if wanted is None else f"{wanted!r} is not in {there.path}"
        raise GivenError(f"--panel {found}; its panels are: {names}")
    return wanted


def _opened(there: Config, name: str) -> int:
    from ..collecting import collect
    from ..contract.pages import PanelDriver
    from ..display.card import CARD
    from ..loading import load
    from ..wiring.first_page import put
    from ..wiring.panels import panel_opener

    panel = there.panel[name]
    brought = collect(load(there.settings, source=there.source), "panel_drivers").items
    drivers = {driver.name: driver for _, driver in brought if isinstance(driver, PanelDriver)}
    device = panel_opener(name, panel, there, drivers)()
    try:
        put(device, CARD, panel.round)
        device.dim(1.0)
        print(f"panel {name} shows the card until Enter is pressed. {SEEN[0].upper()}{SEEN[1:]}.", flush=True)
        sys.stdin.readline()
    finally:
        device.close()
    return 0
