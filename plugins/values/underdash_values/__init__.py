"""Pages of any one to four signals, by configuration alone."""

from __future__ import annotations

from underdash import Page, PluginInfo, hookimpl

from .page import values_page
from .settings import Settings


@hookimpl
def plugin() -> PluginInfo:
    """Say who this is."""
    return PluginInfo(about="values: pages of any one to four signals, by configuration", settings=Settings)


@hookimpl
def display_pages(settings: Settings) -> list[Page]:
    """Bring the pages that were configured."""
    return [values_page(name, page) for name, page in settings.pages.items()]
