"""How the running daemon is, as one immutable record for views, reports and commands."""

from __future__ import annotations

from dataclasses import dataclass

from ..bus.link import BusStatus
from ..contract.signals import PowerState, Snapshot
from ..diagnostics.asking import Counts
from ..power.ignition import IgnitionState


@dataclass(frozen=True, slots=True)
class Status:
    """How everything is at `now` (seconds of the loop).

    Attributes:
        car: whether this is the car of the description, in a sentence.
        closed: why nothing is sent, a sentence a bus; empty while sending is open.
        guard: frames let out ("passed") and held back, by reason.
        pages: (panel, page on show).
        faults: what failed, in sentences.
    """

    now: float
    power: PowerState
    ignition: IgnitionState
    car: str
    buses: tuple[BusStatus, ...]
    closed: tuple[str, ...]
    guard: dict[str, int]
    asking: Counts
    pages: tuple[tuple[str, str], ...]
    faults: tuple[str, ...]
    snapshot: Snapshot
