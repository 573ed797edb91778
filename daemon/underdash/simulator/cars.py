"""The cars that can be simulated: how each behaves and what its driver does, by the name of its description."""

from __future__ import annotations

from ..contract.errors import GivenError
from .driver import Script
from .hybrid_car import HybridDesign
from .models import ModelMaker
from .scripts import LORIS_DRIVE, TARN_DRIVE
from .turbo_car import TurboDesign


def simulated_names() -> tuple[str, ...]:
    """Return the names of all cars that can be simulated."""
    return tuple(sorted(_cars()))


def simulated(name: str) -> tuple[ModelMaker, Script]:
    """Return model and script of a car.

    Raises:
        GivenError: there is no simulation of this car.
    """
    cars = _cars()
    if name not in cars:
        raise GivenError(
            f"car {name!r} cannot be simulated; these can: {', '.join(simulated_names())}. Try a description of your "
            "own on a recorded drive: underdash read TRACE --car FILE"
        )
    return cars[name]


def _cars() -> dict[str, tuple[ModelMaker, Script]]:
    return {"tarn": (TurboDesign(), TARN_DRIVE), "loris": (HybridDesign(), LORIS_DRIVE)}
