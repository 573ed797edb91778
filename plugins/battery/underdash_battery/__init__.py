"""The battery that starts the car: its voltage, what the engine does to it, and its charge at rest.

Start at `rest.py` for the charge, `page.py` for what the driver sees.
"""

from __future__ import annotations

from underdash import Alert, Derived, Page, PluginInfo, Role, Signal, hookimpl

from .page import CHARGE, battery_page
from .rest import ENGINE_SPEED, VOLTAGE, Rest, rest_step
from .settings import Settings


@hookimpl
def plugin() -> PluginInfo:
    """Say who this is."""
    return PluginInfo(about="battery: voltage with the engine's state, charge at rest", settings=Settings)


@hookimpl
def signals() -> list[Signal]:
    """Declare what is this plug-in's own."""
    return [Signal(CHARGE, "%", "charge by the voltage of the battery at rest; rough", low=0.0, high=100.0)]


@hookimpl
def derived_signals(settings: Settings) -> list[Derived]:
    """Estimate the charge while the engine rests."""
    return [Derived(CHARGE, (VOLTAGE, ENGINE_SPEED), rest_step(settings), Rest(), period_s=1.0)]


@hookimpl
def display_pages(settings: Settings) -> list[Page]:
    """Bring the page."""
    return [battery_page(settings)]


@hookimpl
def alerts(settings: Settings) -> list[Alert]:
    """Raise an alert for a voltage that is too low or too high for longer than a start takes."""
    if not settings.alerts:
        return []
    return [
        Alert("battery.low", VOLTAGE, "battery low", below=settings.low, clears_by=0.3, delay_s=30.0),
        Alert("battery.high", VOLTAGE, "voltage high", settings.high, clears_by=0.2, delay_s=5.0, role=Role.WARNING),
    ]
