"""From the configuration to panels that can be opened: which driver, its settings, how it is turned and dimmed."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast

from ..config.mistakes import nearest
from ..config.schema import Config, PanelConfig
from ..config.structure import check_settings
from ..contract.errors import GivenError, UnderdashError
from ..contract.pages import PanelDriver
from ..display.backlight import opened
from ..display.dimming import DimmingOptions
from ..display.panels import Panel, SelfDrawing
from ..display.panels.framebuffer import Framebuffer, trouble
from ..display.panels.lcd import LcdSettings, lcd_panel, misfit
from ..display.panels.lit import BacklitPanel, ScaledPanel
from ..display.panels.picture import PicturePanel
from ..display.panels.turned import TurnedPanel
from ..display.panels.wired import WiredPanel


def panel_opener(
    name: str, panel: PanelConfig, config: Config, drivers: Mapping[str, PanelDriver]
) -> Callable[[], Panel | SelfDrawing]:
    """Return what opens a panel.

    Args:
        name: of the panel in the configuration.
        panel: its table there.
        config: all of it.
        drivers: those that plug-ins bring, by name.

    Raises:
        GivenError: nobody brings its driver.
        ConfigError: its settings do not fit.
    """
    drivers = {**core_drivers(config), **drivers}
    if panel.driver not in drivers:
        near = nearest(panel.driver, drivers)
        guess = f"; did you mean {near!r}?" if near else ""
        raise GivenError(
            f"{config.path}: panel.{name}.driver: nobody brings a driver {panel.driver!r}; there are: "
            f"{', '.join(sorted(drivers))}{guess}"
        )
    driver = drivers[panel.driver]
    table = panel_table(name, panel, config, driver)
    return lambda: _fitted(cast("Panel | SelfDrawing", driver.opened(table)), panel, driver)


@dataclass(frozen=True, kw_only=True)
class PictureSettings:
    """Settings of the picture panel.

    Args:
        file: where it is kept as PNG, relative to the configuration's folder; only in memory if left out.
    """

    file: str = ""


@dataclass(frozen=True, kw_only=True)
class FramebufferSettings:
    """Settings of the framebuffer panel.

    Args:
        device: the framebuffer's file.
    """

    device: str = "/dev/fb0"


def core_drivers(config: Config) -> dict[str, PanelDriver]:
    """Return the drivers that need no plug-in, by name."""

    def picture(table: dict[str, object]) -> PicturePanel:
        settings = cast("PictureSettings", table["settings"])
        file = config.path.parent / settings.file if settings.file else None
        return PicturePanel(cast("tuple[int, int]", table["size"]), file)

    def picture_trouble(table: dict[str, object]) -> str:
        settings = cast("PictureSettings", table["settings"])
        path = config.path.parent / settings.file
        if settings.file and path.is_dir():
            return f"settings.file: {path} is a folder; name a file in it, such as panel.png"
        folder = path.parent
        if not settings.file or (folder.is_dir() and os.access(folder, os.W_OK | os.X_OK)):
            return ""
        why = "cannot be written" if folder.is_dir() else "is no folder"
        return f"settings.file: {folder} {why}; name a file in a folder that can be written"

    def framebuffer(table: dict[str, object]) -> Framebuffer:
        device = Framebuffer(Path(cast("FramebufferSettings", table["settings"]).device))
        if device.size != table["size"]:
            across, down = device.size
            device.close()
            raise UnderdashError(f"the framebuffer has {across}x{down} pixels; write size = [{across}, {down}]")
        return device

    def framebuffer_trouble(table: dict[str, object]) -> str:
        return trouble(Path(cast("FramebufferSettings", table["settings"]).device))

    def luma(table: dict[str, object]) -> WiredPanel:
        return lcd_panel(cast("LcdSettings", table["settings"]), cast("tuple[int, int]", table["size"]))

    def luma_trouble(table: dict[str, object]) -> str:
        return misfit(cast("LcdSettings", table["settings"]), cast("tuple[int, int]", table["size"]))

    found = (
        PanelDriver("luma", luma, LcdSettings, luma_trouble, dims=False),
        PanelDriver("picture", picture, PictureSettings, picture_trouble),
        PanelDriver("framebuffer", framebuffer, FramebufferSettings, framebuffer_trouble, dims=False),
    )
    return {driver.name: driver for driver in found}


def _fitted(device: Panel | SelfDrawing, panel: PanelConfig, driver: PanelDriver) -> Panel | SelfDrawing:
    """Turn and dim what a device shows, as far as it does not by itself.

    Raises:
        UnderdashError: its light is not there.
    """
    try:
        if isinstance(device, SelfDrawing):
            return device
        fitted = _lit(device, panel, driver)
    except BaseException:
        device.close()
        raise
    turned = not driver.turns and panel.rotation % 360.0
    return TurnedPanel(fitted, panel.rotation) if turned else fitted


def _lit(device: Panel, panel: PanelConfig, driver: PanelDriver) -> Panel:
    if panel.backlight is None:
        return device if driver.dims else ScaledPanel(device)
    light = opened(panel.backlight)
    return ScaledPanel(device) if light is None else BacklitPanel(device, light)


def panel_table(name: str, panel: PanelConfig, config: Config, driver: PanelDriver) -> dict[str, object]:
    """Return what a driver is handed of the configuration; raises ConfigError if its settings do not fit."""
    settings: dict[str, object] = dict(panel.settings)
    if driver.settings is not None:
        place = "panel", name, "settings"
        settings = {"settings": check_settings(driver.settings, settings, config.source, place)}
    return {"size": panel.size, "rotation": panel.rotation, **settings}


def dimming_options(config: Config, knob_applies: str = "night") -> DimmingOptions:
    """Return how panels are dimmed; what the configuration leaves open the car's `knob_applies` decides."""
    own = config.dimming
    return DimmingOptions(
        floor=own.floor,
        ceiling=own.ceiling,
        curve=own.curve,
        night=own.night,
        hysteresis=own.hysteresis,
        fade_s=own.fade_s,
        knob_applies=own.knob_applies or _knob(knob_applies),
    )


def _knob(applies: str) -> Literal["night", "always"]:
    return "always" if applies == "always" else "night"
