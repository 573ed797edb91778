"""Panel drivers that need no plug-in; each is imported once a panel wants it, since its first page waits for that."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, cast

from ..config.panels import PanelsConfig
from ..contract.errors import UnderdashError
from ..contract.pages import PanelDriver

if TYPE_CHECKING:
    from ..display.panels.framebuffer import Framebuffer
    from ..display.panels.picture import PicturePanel
    from ..display.panels.wired import WiredPanel


def core_drivers(config: PanelsConfig) -> dict[str, PanelDriver]:
    """Return all of them by name."""
    return {name: made(config) for name, made in CORE_DRIVERS.items()}


def _luma(config: PanelsConfig) -> PanelDriver:
    from ..display.panels.lcd import LcdSettings, lcd_panel, misfit

    def opened(table: dict[str, object]) -> WiredPanel:
        return lcd_panel(cast("LcdSettings", table["settings"]), cast("tuple[int, int]", table["size"]))

    def trouble(table: dict[str, object]) -> str:
        return misfit(cast("LcdSettings", table["settings"]), cast("tuple[int, int]", table["size"]))

    return PanelDriver("luma", opened, LcdSettings, trouble, dims=False)


def _picture(config: PanelsConfig) -> PanelDriver:
    from ..display.panels.picture import PicturePanel, PictureSettings

    def opened(table: dict[str, object]) -> PicturePanel:
        settings = cast("PictureSettings", table["settings"])
        file = config.path.parent / settings.file if settings.file else None
        return PicturePanel(cast("tuple[int, int]", table["size"]), file)

    def trouble(table: dict[str, object]) -> str:
        settings = cast("PictureSettings", table["settings"])
        path = config.path.parent / settings.file
        if settings.file and path.is_dir():
            return f"settings.file: {path} is a folder; name a file in it, such as panel.png"
        folder = path.parent
        if not settings.file or (folder.is_dir() and os.access(folder, os.W_OK | os.X_OK)):
            return ""
        why = "cannot be written" if folder.is_dir() else "is no folder"
        return f"settings.file: {folder} {why}; name a file in a folder that can be written"

    return PanelDriver("picture", opened, PictureSettings, trouble)


def _framebuffer(config: PanelsConfig) -> PanelDriver:
    from ..display.panels.framebuffer import Framebuffer, FramebufferSettings
    from ..display.panels.framebuffer import trouble as trouble_of

    def opened(table: dict[str, object]) -> Framebuffer:
        device = Framebuffer(Path(cast("FramebufferSettings", table["settings"]).device))
        if device.size != table["size"]:
            across, down = device.size
            device.close()
            raise UnderdashError(f"the framebuffer has {across}x{down} pixels; write size = [{across}, {down}]")
        return device

    def trouble(table: dict[str, object]) -> str:
        return trouble_of(Path(cast("FramebufferSettings", table["settings"]).device))

    return PanelDriver("framebuffer", opened, FramebufferSettings, trouble, dims=False)


CORE_DRIVERS: Mapping[str, Callable[[PanelsConfig], PanelDriver]] = {
    "luma": _luma,
    "picture": _picture,
    "framebuffer": _framebuffer,
}
"""By name: imports a driver and makes it for a configuration."""
