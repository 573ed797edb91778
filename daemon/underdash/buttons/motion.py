"""What fingers may do while the car moves: nothing that takes more than a glance.

Pure. Above walking pace, or where the speed is unknown and the engine runs, only what the table allows is done; the
rest is set up with the car standing. Guidelines for what drivers may work on the move (NHTSA, 78 FR 24817) ask for such
a limit; walking pace is a judgement.
"""

from __future__ import annotations

from collections.abc import Mapping

from ..contract.buttons import (
    Acknowledge,
    Action,
    GoQuiet,
    Mark,
    Refresh,
    ResetPeak,
    SetChoice,
    ShowPage,
    ShowRate,
    TurnPage,
)
from ..contract.signals import Snapshot

WALKING_KMH = 6.0
SPEED = "vehicle.speed"
ENGINE = ("engine.speed", "engine.running", "powertrain.ready")
IGNITION = "vehicle.ignition"
SIGNALS = (SPEED, *ENGINE, IGNITION)
"""What the rule looks at."""
STANDING = "only while standing"
"""What the panel says of an action that is held back."""

ON_THE_MOVE: Mapping[type[Action], bool] = {
    TurnPage: True,
    ShowPage: True,  # a page turned to by its name
    ResetPeak: True,
    Acknowledge: True,
    Mark: True,
    Refresh: True,  # asks for what is asked for anyway
    GoQuiet: True,  # stopping is always safe; see `held_back` for the release
    SetChoice: False,
    ShowRate: False,
}
"""Which kinds of actions are done while the car moves; every kind must be here."""


def moving(snapshot: Snapshot) -> bool:
    """Say whether the car moves, or may: faster than walking pace, or at an unknown speed with the engine running."""
    speed_kmh = snapshot.number(SPEED)
    if speed_kmh is not None:
        return speed_kmh > WALKING_KMH
    runs = engine_runs(snapshot)
    # where nothing tells, whether the key is where the engine would run
    return snapshot.reading(IGNITION).value in ("ON", "START") if runs is None else runs


def held_back(action: Action, snapshot: Snapshot) -> str:
    """Return what to say of an action that is not done now, "" if it is done."""
    allowed = ON_THE_MOVE[type(action)]
    if isinstance(action, GoQuiet) and not action.on:
        allowed = False  # sending begins again
    return "" if allowed or not moving(snapshot) else STANDING


def engine_runs(snapshot: Snapshot) -> bool | None:
    """Say whether the engine runs, or what drives without one is ready; None where nothing tells."""
    told = [value for name in ENGINE if (value := snapshot.reading(name).value) is not None]
    return any(told) if told else None
