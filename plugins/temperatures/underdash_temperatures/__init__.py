"""Temperatures: one page with a main value and up to three more, on whatever the car provides.

Start at `page.py`; `limits.py` knows where each temperature is cold, hot and too hot.
"""

from __future__ import annotations

from underdash import Alert, CarDescription, Page, PluginInfo, Role, hookimpl

from .limits import KNOWN, limits_for
from .page import PAGE, candidates, temperatures_page
from .settings import Settings


@hookimpl
def plugin() -> PluginInfo:
    """Say who this is."""
    return PluginInfo(about="temperatures: one main value and up to three more", settings=Settings)


@hookimpl
def display_pages(car: CarDescription, settings: Settings) -> list[Page]:
    """Bring the page."""
    return [temperatures_page(car, settings)]


@hookimpl
def alerts(car: CarDescription, settings: Settings) -> list[Alert]:
    """Raise an alert for each shown temperature that has a warning limit."""
    if not settings.alerts:
        return []
    found = []
    for signal in candidates(car, settings):
        limits = limits_for(signal, settings.limits)
        if limits.warning is not None:
            label = limits.label or KNOWN[signal].label
            name = f"temperatures.{signal}"
            text, limit = f"{label} hot", limits.warning
            found.append(Alert(name, signal, text, limit, clears_by=3.0, delay_s=3.0, role=Role.WARNING, page=PAGE))
    return found
