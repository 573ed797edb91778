"""Boost: pressure above ambient, where ambient comes from, and the page that shows it.

Start at `reference.py` for the air pressure outside, `page.py` for what the driver sees.
"""

from __future__ import annotations

from underdash import Derived, Page, PluginInfo, Signal, hookimpl

from .page import AGE, BOOST, CHARGE, KNOWN, MANIFOLD, boost_page
from .reference import AMBIENT, ENGINE_SPEED, IGNITION, Reference, ambient_step, reference_age_step
from .settings import Settings
from .steps import boost_step, known_step


@hookimpl
def plugin() -> PluginInfo:
    """Say who this is."""
    return PluginInfo(about="boost: a page, and ambient pressure from the engine at rest", settings=Settings)


@hookimpl
def signals() -> list[Signal]:
    """Declare what is this plug-in's own."""
    return [
        Signal(AGE, "s", "time since the air pressure outside was last seen on the engine at rest", low=0.0),
        Signal(KNOWN, "kPa", "boost, as long as its reference is not merely assumed; its peak is held"),
    ]


@hookimpl
def derived_signals(settings: Settings) -> list[Derived]:
    """Compute ambient pressure, its age, and boost."""
    at_rest = (IGNITION, ENGINE_SPEED, MANIFOLD, CHARGE)
    pressures = (MANIFOLD, CHARGE, AMBIENT)
    return [
        Derived(AMBIENT, at_rest, ambient_step(settings), Reference(), period_s=0.1),
        Derived(AGE, at_rest, reference_age_step, Reference(), period_s=0.25),
        Derived(BOOST, pressures, boost_step, period_s=0.02),
        Derived(KNOWN, pressures, known_step, period_s=0.02),
    ]


@hookimpl
def display_pages(settings: Settings) -> list[Page]:
    """Bring the page."""
    return [boost_page(settings)]
