"""The Brack Loris: an invented small hybrid, to prove that pages do not care which car they are in."""

from __future__ import annotations

from pathlib import Path

from underdash import CarFile, PluginInfo, hookimpl


@hookimpl
def plugin() -> PluginInfo:
    """Say what this is."""
    return PluginInfo(about="Brack Loris, an invented small hybrid; `underdash demo --car loris` drives it")


@hookimpl
def cars() -> list[CarFile]:
    """Bring the description that lies beside this file."""
    return [CarFile(Path(__file__).with_name("loris.toml"))]
