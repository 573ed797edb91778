"""The Halden Tarn 1.6T: an invented turbo estate that shows what a car description can say."""

from __future__ import annotations

from pathlib import Path

from underdash import CarFile, PluginInfo, hookimpl


@hookimpl
def plugin() -> PluginInfo:
    """Say what this is."""
    return PluginInfo(about="Halden Tarn 1.6T, an invented turbo estate; `underdash demo` drives it")


@hookimpl
def cars() -> list[CarFile]:
    """Bring the description that lies beside this file."""
    return [CarFile(Path(__file__).with_name("tarn.toml"))]
