"""How the running daemon is, as one immutable record for views, reports and commands."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ..bus.link import BusStatus
from ..contract.signals import PowerState, Reading, Snapshot
from ..diagnostics.asking import Counts, PollStatus
from ..inputs.station import InputStatus
from ..power.ignition import IgnitionState
from .assembly import Assembly
from .rates import Rate


@dataclass(frozen=True, slots=True)
class Status:
    """How everything is at `now` (seconds of the loop).

    Attributes:
        car: whether this is the car of the description, in a sentence.
        closed: why nothing is sent, a sentence a bus; empty while sending is open.
        guard: frames let out ("passed") and held back, by reason.
        pages: (panel, page on show).
        rates: (panel, how often the main value of its page comes).
        faults: what failed, in sentences.
        inputs: the wired lines and sensors.
        quiet: somebody asked for quiet.
        hold: why the machine has not gone off though its time has come, in a sentence; "" if it has not.
        past: what is left out because of how earlier lives ended, in sentences.
        doubts: sentences about wires of the ignition that cannot be right.
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
    polls: tuple[PollStatus, ...] = ()
    quiet: bool = False
    rates: tuple[tuple[str, Rate], ...] = ()
    inputs: tuple[InputStatus, ...] = ()
    hold: str = ""
    past: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


def as_table(status: Status, assembly: Assembly) -> dict[str, Any]:
    """Return a status as a table for JSON."""
    return {
        "car": {"name": assembly.car.name, "title": assembly.car.title, "recognised": status.car},
        "power": status.power.value,
        "power_off_waits": status.hold,
        "ignition": {
            "position": status.ignition.position.value,
            "why": status.ignition.why,
            "doubts": list(status.doubts),
        },
        "quiet": status.quiet,
        "buses": [_bus(bus) for bus in status.buses],
        "closed": list(status.closed),
        "inputs": [_input(one) for one in status.inputs],
        "guard": dict(status.guard),
        "asking": asdict(status.asking),
        "polls": [_poll(poll) for poll in status.polls],
        "pages": dict(status.pages),
        "rates": {panel: {**asdict(rate), "sentence": rate.sentence} for panel, rate in status.rates},
        "signals": {name: told(reading) for name, reading in sorted(status.snapshot.readings.items())},
        "plugins": {
            "running": [plugin.name for plugin in assembly.loaded.plugins],
            "refused": [str(one) for one in assembly.loaded.refused],
            "suspended": dict(assembly.suspended),
            "past": list(status.past),
        },
        "problems": list(assembly.problems),
        "faults": list(status.faults),
    }


def told(reading: Reading) -> dict[str, Any]:
    """Return a reading as a table for JSON."""
    return {
        "value": round(reading.value, 4) if isinstance(reading.value, float) else reading.value,
        "shown": reading.text,
        "unit": reading.unit,
        "age": reading.age.value,
        "seconds_old": None if reading.seconds_old is None else round(reading.seconds_old, 3),
        "quality": reading.quality.value,
        "source": reading.source,
    }


def _bus(bus: BusStatus) -> dict[str, Any]:
    return {**asdict(bus), "state": bus.state.value, "load": round(bus.load, 4)}


def _input(one: InputStatus) -> dict[str, Any]:
    old = None if one.seconds_old is None else round(one.seconds_old, 3)
    told = {"name": one.name, "signal": one.signal, "kind": one.kind, "seconds_old": old}
    return {**told, "ails": one.trouble.ails.value, "sentence": one.sentence}


def _poll(poll: PollStatus) -> dict[str, Any]:
    return {
        "name": poll.name,
        "signals": list(poll.signals),
        "wanted": poll.wanted,
        "parked": poll.parked,
        "how": poll.told.how.value,
        "sentence": poll.sentence,
    }
