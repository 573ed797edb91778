"""Whether the car stands, as far as anything tells; where nothing does, a person's word is needed."""

from __future__ import annotations

from ..buttons.motion import SPEED, WALKING_KMH, engine_runs
from ..contract.signals import Snapshot

SAY_SO = "say at the keyboard that it stands: --attended"


def may_move(snapshot: Snapshot, *, vouched: bool) -> str:
    """Say why the car may move, "" if it stands.

    Args:
        snapshot: with the signals of `buttons.motion.SIGNALS`.
        vouched: a person beside it said at the keyboard that it stands. A speed that is known outranks them.
    """
    speed_kmh = snapshot.number(SPEED)
    if speed_kmh is not None:
        if speed_kmh <= WALKING_KMH:
            return ""
        return f"the car moves ({speed_kmh:.0f} km/h); requests by hand are for a car that stands"
    runs = engine_runs(snapshot)
    if vouched or runs is False:
        return ""
    if runs:
        return (
            f"the engine runs and {SPEED} is not known, so nothing says that the car stands; stop the engine and leave "
            f"the ignition on, or {SAY_SO}"
        )
    return f"neither {SPEED} nor the engine is known, so nothing says that the car stands; {SAY_SO}"
