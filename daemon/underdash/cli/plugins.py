"""``underdash plugins``: what runs, what is only installed, what was refused and why; ``plugins add`` adds one."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from .common import config, running_status

if TYPE_CHECKING:
    from ..loading import Loaded
    from ..wiring.assembly import Assembly


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--config", metavar="F", help="look at this configuration; else at the bundled plug-ins")
    doing = parser.add_subparsers(dest="doing", metavar="add", title="adding")
    one = doing.add_parser("add", help="install somebody else's plug-in beside underdash", allow_abbrev=False)
    one.add_argument("plugin", metavar="NAME_OR_WHEEL", help="a name that pip finds, or the path of a wheel")
    one.add_argument("--wheels", metavar="DIR", type=Path, help="take it and all it needs from DIR, without network")


def run(arguments: argparse.Namespace) -> int:
    """List plug-ins, 1 if one was refused; or add one."""
    if arguments.doing == "add":
        from .plugins_add import add as install
        from .plugins_add import next_step

        print(next_step(install(arguments.plugin, arguments.wheels)))
        return 0
    loaded = _loaded(arguments)
    groups = {"running": _running(loaded), "refused": _refused(loaded), "installed, not enabled": _idle(loaded)}
    suspended = _suspended()
    if suspended is not None:
        groups["suspended or left out by the running daemon"] = suspended
    for title, lines in groups.items():
        print(f"{title}:" if lines else f"{title}: none")
        for line in lines:
            print(f"  {line}")
    return 1 if loaded.refused else 0


def _loaded(arguments: argparse.Namespace) -> Loaded:
    """Load plug-ins, and ask them for all they bring where there is a car, so that every refusal shows."""
    from ..contract.errors import UnderdashError

    if arguments.config is None:
        from ..wiring.assembly import load_bundled

        return load_bundled()
    from ..loading import load
    from ..wiring.building import assembled

    read = config(arguments)
    try:
        assembly: Assembly = assembled(read)
    except UnderdashError as exc:
        print(f"without a car only half of it can be looked at: {exc}")
        return load(read.settings, source=read.source)
    return assembly.loaded


def _running(loaded: Loaded) -> list[str]:
    width = max((len(plugin.name) for plugin in loaded.plugins), default=0)
    return [f"{plugin.name:<{width}}  {plugin.version}  {plugin.info.about}" for plugin in loaded.plugins]


def _refused(loaded: Loaded) -> list[str]:
    return [str(refused) for refused in loaded.refused]


def _suspended() -> list[str] | None:
    """Return what the running daemon has suspended or left out, None where none runs that could tell."""
    table = running_status()
    if table is None:
        return None
    found = table["plugins"]
    suspended = [f"{name}: {why}; restart the daemon, and tell its author" for name, why in found["suspended"].items()]
    return [*suspended, *found.get("past", ())]


def _idle(loaded: Loaded) -> list[str]:
    return [f"{installed.name}  {installed.version}" for installed in loaded.installed]
