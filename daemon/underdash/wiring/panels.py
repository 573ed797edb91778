"""From the configuration to panels that can be opened: which driver, its settings, how it is turned and dimmed.

What only some panels need is imported where one needs it, since the first page waits for all this.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal, cast

from ..config.mistakes import nearest
from ..config.panels import PanelConfig, PanelsConfig
from ..config.structure import check_settings
from ..contract.errors import GivenError
from ..contract.pages import PanelDriver
from ..display.dimming import DimmingOptions
from ..display.panels import Panel, SelfDrawing
from .drivers import CORE_DRIVERS


def panel_opener(
    name: str, panel: PanelConfig, config: PanelsConfig, drivers: Mapping[str, PanelDriver]
) -> Callable[[], Panel | SelfDrawing]:
    """Return what opens a panel.

    Args:
        name: of the panel in the configuration.
        panel: its table there.
        config: what all of it says of panels.
        drivers: those that plug-ins bring, by name.

    Raises:
        GivenError: nobody brings its driver.
        ConfigError: its settings do not fit.
    """
    if panel.driver in drivers:
        driver = drivers[panel.driver]
    elif panel.driver in CORE_DRIVERS:
        driver = CORE_DRIVERS[panel.driver](config)
    else:
        there = {*CORE_DRIVERS, *drivers}
        near = nearest(panel.driver, there)
        guess = f"; did you mean {near!r}?" if near else ""
        raise GivenError(
            f"{config.path}: panel.{name}.driver: nobody brings a driver {panel.driver!r}; there are: "
            f"{', '.join(sorted(there))}{guess}"
        )
    table = panel_table(name, panel, config, driver)
    return lambda: _fitted(cast("Panel | SelfDrawing", driver.opened(table)), panel, driver)


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
    if driver.turns or not panel.rotation % 360.0:
        return fitted
    from ..display.panels.turned import TurnedPanel

    return TurnedPanel(fitted, panel.rotation)


def _lit(device: Panel, panel: PanelConfig, driver: PanelDriver) -> Panel:
    if panel.backlight is None and driver.dims:
        return device
    from ..display.backlight import opened
    from ..display.panels.lit import BacklitPanel, ScaledPanel

    light = None if panel.backlight is None else opened(panel.backlight)
    return ScaledPanel(device) if light is None else BacklitPanel(device, light)


def panel_table(name: str, panel: PanelConfig, config: PanelsConfig, driver: PanelDriver) -> dict[str, object]:
    """Return what a driver is handed of the configuration; raises ConfigError if its settings do not fit."""
    settings: dict[str, object] = dict(panel.settings)
    if driver.settings is not None:
        place = "panel", name, "settings"
        settings = {"settings": check_settings(driver.settings, settings, config.source, place)}
    return {"size": panel.size, "rotation": panel.rotation, **settings}


def dimming_options(config: PanelsConfig, knob_applies: str = "night") -> DimmingOptions:
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
