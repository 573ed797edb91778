"""``underdash dark``: put the panels out, after a daemon that could not do it itself."""

from __future__ import annotations

import argparse
import sys

from .common import add_config, config


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_config(parser)


def run(arguments: argparse.Namespace) -> int:
    """Open and close each panel, which leaves it dark; a running daemon keeps its own."""
    from ..bus.runtime import any_held, runtime_directory
    from ..collecting import collect
    from ..contract.pages import PanelDriver
    from ..loading import load
    from ..wiring.panels import panel_opener

    wanted = config(arguments)
    if any_held(runtime_directory()):
        print("a daemon runs, and its panels are its own", file=sys.stderr)
        return 1
    brought = collect(load(wanted.settings, source=wanted.source), "panel_drivers").items
    drivers = {driver.name: driver for _, driver in brought if isinstance(driver, PanelDriver)}
    trouble = 0
    for name, panel in wanted.panel.items():
        try:
            panel_opener(name, panel, wanted, drivers)().close()
        except Exception as exc:  # one panel that fails must not leave the others lit
            trouble = 1
            print(f"panel {name}: {exc}", file=sys.stderr)
    return trouble
