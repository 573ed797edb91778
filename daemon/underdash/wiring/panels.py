"""From the configuration to panels that can be opened: which driver, its settings, how it is turned and dimmed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal

from ..config.mistakes import nearest
from ..config.schema import Config, PanelConfig
from ..config.structure import check_settings
from ..contract.errors import GivenError
from ..contract.pages import PanelDriver
from ..display.dimming import DimmingOptions
from ..display.panels import Panel, SelfDrawing
from ..display.panels.picture import PicturePanel
from ..display.panels.turned import TurnedPanel


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
    if panel.driver == "picture":
        file = panel.settings.get("file")
        path = None if file is None else config.path.parent / str(file)
        return lambda: _turned(PicturePanel(panel.size, path), panel.rotation)
    if panel.driver not in drivers:
        there = ", ".join(sorted(["picture", *drivers]))
        near = nearest(panel.driver, ["picture", *drivers])
        guess = f"; did you mean {near!r}?" if near else ""
        raise GivenError(
            f"{config.path}: panel.{name}.driver: nobody brings a driver {panel.driver!r}; there are: {there}{guess}"
        )
    driver = drivers[panel.driver]
    table = panel_table(name, panel, config, driver)

    def opened() -> Panel | SelfDrawing:
        device: Panel | SelfDrawing = driver.opened(table)  # type: ignore[assignment]
        return device if driver.turns or isinstance(device, SelfDrawing) else _turned(device, panel.rotation)

    return opened


def panel_table(name: str, panel: PanelConfig, config: Config, driver: PanelDriver) -> dict[str, object]:
    """Return what a driver is handed of the configuration; raises ConfigError if its settings do not fit."""
    settings: dict[str, object] = dict(panel.settings)
    if driver.settings is not None:
        place = "panel", name, "settings"
        settings = {"settings": check_settings(driver.settings, settings, config.source, place)}
    return {"size": panel.size, "rotation": panel.rotation, **settings}


def _turned(device: Panel, clockwise_deg: float) -> Panel:
    """Turn what a device shows that cannot turn it by itself."""
    return TurnedPanel(device, clockwise_deg) if clockwise_deg % 360.0 else device


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
