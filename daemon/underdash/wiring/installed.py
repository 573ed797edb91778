"""Plug-ins that are installed, for commands that run without a configuration: those named, and whoever brings a car."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from ..config.mistakes import Source
from ..contract.cars import CarDescription
from ..contract.errors import GivenError
from ..loading import Loaded, load
from .assembly import BUNDLED, UnknownCarError, choose_car


def load_with(names: Iterable[str]) -> Loaded:
    """Load the plug-ins that run where no configuration says which and those named, all with their default settings.

    Raises:
        GivenError: one of those named does not run; the message says why and what to do.
    """
    named = list(names)
    loaded = load({name: {} for name in (*BUNDLED, *named)}, source=Source())
    for one in loaded.refused:
        if one.name in named:
            raise GivenError(f"--plugin {one}")
    return loaded


def car_of_any(wanted: str, loaded: Loaded, *, variant: str | None = None) -> tuple[CarDescription, Loaded]:
    """Return the car of a name, whichever installed plug-in brings it; see `choose_car`.

    The plug-in that brings it runs as well, since its requests may need more of it. The others are imported only where
    none of those that run brings the car.
    """
    try:
        return choose_car(wanted, loaded, variant=variant)
    except UnknownCarError:
        rest = load({one.name: {} for one in loaded.installed}, source=Source())
    for plugin in rest.plugins:
        try:
            return choose_car(wanted, replace(loaded, plugins=(*loaded.plugins, plugin)), variant=variant)
        except UnknownCarError:
            continue
    everybody = replace(loaded, plugins=(*loaded.plugins, *rest.plugins), refused=(*loaded.refused, *rest.refused))
    return choose_car(wanted, everybody, variant=variant)
