"""Page turn: steering-wheel buttons move the pages."""

from __future__ import annotations

from underdash import ButtonHandler, CarDescription, PluginInfo, hookimpl

from .bindings import bindings_for, handler
from .settings import Settings


@hookimpl
def plugin() -> PluginInfo:
    """Say who this is."""
    return PluginInfo(about="page_turn: steering-wheel buttons turn pages, reset peaks, acknowledge", settings=Settings)


@hookimpl
def button_handlers(car: CarDescription, settings: Settings) -> list[ButtonHandler]:
    """Bind buttons as set, or by a rule to those the car has."""
    return [handler(binding) for binding in bindings_for(car, settings)]
