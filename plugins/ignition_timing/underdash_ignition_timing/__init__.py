"""Ignition timing: how far before top dead centre the spark comes, and how much of it knocking takes back."""

from __future__ import annotations

from underdash import Alert, Page, PluginInfo, Role, hookimpl

from .page import KNOCK, timing_page
from .settings import Settings


@hookimpl
def plugin() -> PluginInfo:
    """Say who this is."""
    return PluginInfo(about="ignition_timing: spark advance, and what knocking takes back", settings=Settings)


@hookimpl
def display_pages(settings: Settings) -> list[Page]:
    """Bring the page."""
    return [timing_page(settings)]


@hookimpl
def alerts(settings: Settings) -> list[Alert]:
    """Raise an alert for knocking, where the owner wants one."""
    if not settings.alert:
        return []
    limit = settings.knock_warning
    return [
        Alert("ignition_timing.knock", KNOCK, "knocking", limit, clears_by=limit / 2, delay_s=0.5, role=Role.WARNING)
    ]
