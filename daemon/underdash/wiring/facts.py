"""What has to be known to say why a signal has no value: plain records, gathered by `gathering.py`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf

from ..bus.link import BusStatus
from ..bus.refusals import Refusal
from ..contract.signals import Reading
from ..diagnostics.standing import How, Told
from ..power.ignition import Position

WAITS = Told(How.WAITING, "waits for its turn")


@dataclass(frozen=True, slots=True)
class BusFact:
    """A bus of the car.

    Attributes:
        connected: the configuration has it.
        transmit: the owner lets us send on it.
        asked_only: the description says that it is silent until asked.
        recorded: it plays a recorded drive.
        status: newest; None while no daemon runs.
        closed: why the guard lets nothing out on it now.
    """

    role: str
    connected: bool = True
    transmit: bool = True
    asked_only: bool = False
    recorded: bool = False
    status: BusStatus | None = None
    closed: Refusal | None = None


@dataclass(frozen=True, slots=True)
class Drops:
    """Seconds since a frame or value was last dropped, by reason; inf if it never was."""

    short: float = inf
    checksum: float = inf
    repeated: float = inf
    unavailable: float = inf
    implausible: float = inf


@dataclass(frozen=True, slots=True)
class Heard:
    """A broadcast frame that carries the signal. `count`: values taken; `old_s`: since the last one."""

    name: str
    bus: str
    count: int = 0
    old_s: float | None = None
    on_change: bool = False
    drops: Drops = Drops()


@dataclass(frozen=True, slots=True)
class Asked:
    """A request whose answer carries the signal; see `PollStatus`.

    Attributes:
        never: why the guard never lets it out.
        flow: why the guard never lets the flow control out that its answer needs; None for an answer in one frame.
        owner: the plug-in that brings its protocol, "" for others. `suspended`: why that was suspended.
    """

    name: str
    unit: str
    bus: str
    wanted: bool = False
    parked: bool = False
    told: Told = WAITS
    answered_s: float | None = None
    never: Refusal | None = None
    count: int = 0
    old_s: float | None = None
    drops: Drops = Drops()
    flow: Refusal | None = None
    owner: str = ""
    suspended: str = ""

    @property
    def sentence(self) -> str:
        """How it stands, for a person."""
        return self.told.text


@dataclass(frozen=True, slots=True)
class Computed:
    """A plug-in that computes the signal."""

    owner: str
    inputs: tuple[str, ...] = ()
    suspended: str = ""


@dataclass(frozen=True, slots=True)
class Wired:
    """A line or sensor. `absent` and `beyond` say in a sentence that it is not there, or gives what cannot be."""

    name: str
    old_s: float | None = None
    absent: str = ""
    beyond: str = ""


Source = Heard | Asked | Computed | Wired


@dataclass(frozen=True, slots=True)
class SignalFact:
    """A signal: what it reads and who provides it, the preferred source first."""

    reading: Reading | None = None
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True, slots=True)
class PageFact:
    """A page that shows the signal. `off`: why it was taken off."""

    name: str
    panel: str
    on_show: bool = False
    off: str = ""


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known.

    Attributes:
        signals: that signal and everything it is computed from, by name.
        known: somebody declares a signal of this name.
        near: the nearest name there is.
        pages: that show it, directly or through what is computed from it.
        buses: by role.
        plugins: sentences about plug-ins that are refused or suspended, by name.
        polling: requests are made at all; not while the car is parked.
        paused: nothing is polled, since a person asks control units by hand.
        position: of the ignition.
        recognising: the car is still being recognised.
        differs: why this is not the described car, "" if it may be.
        capped: as many requests go out as the limit lets.
        live: a daemon runs.
    """

    signals: Mapping[str, SignalFact] = field(default_factory=dict)
    known: bool = True
    near: str | None = None
    pages: tuple[PageFact, ...] = ()
    buses: Mapping[str, BusFact] = field(default_factory=dict)
    plugins: Mapping[str, str] = field(default_factory=dict)
    polling: bool = True
    paused: bool = False
    position: Position = Position.UNKNOWN
    recognising: bool = False
    differs: str = ""
    capped: bool = False
    live: bool = True
