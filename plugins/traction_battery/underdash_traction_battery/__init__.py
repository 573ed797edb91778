"""The battery that moves the car: charge, temperature, power and the spread of its cells."""

from __future__ import annotations

from underdash import Alert, Derived, Page, PluginInfo, Role, Signal, hookimpl

from .page import (
    CURRENT,
    HIGHEST,
    HOTTEST,
    LOWEST,
    POWER,
    SPREAD,
    VOLTAGE,
    power_step,
    spread_step,
    traction_battery_page,
)
from .settings import Settings


@hookimpl
def plugin() -> PluginInfo:
    """Say who this is."""
    return PluginInfo(about="traction_battery: charge, temperature, power, cells", settings=Settings)


@hookimpl
def signals() -> list[Signal]:
    """Declare what is this plug-in's own."""
    return [Signal(POWER, "kW", "power of the traction battery, positive while it is charged")]


@hookimpl
def derived_signals() -> list[Derived]:
    """Compute the power, and the spread of the cells where the car tells only its ends."""
    return [
        Derived(POWER, (VOLTAGE, CURRENT), power_step, period_s=0.1),
        Derived(SPREAD, (HIGHEST, LOWEST), spread_step, period_s=0.5),
    ]


@hookimpl
def display_pages(settings: Settings) -> list[Page]:
    """Bring the page."""
    return [traction_battery_page(settings)]


@hookimpl
def alerts(settings: Settings) -> list[Alert]:
    """Raise an alert for a hot battery."""
    if not settings.alerts:
        return []
    name = "traction_battery.hot"
    page, role = "traction_battery", Role.WARNING
    return [Alert(name, HOTTEST, "battery hot", settings.hot, clears_by=3.0, delay_s=3.0, role=role, page=page)]
