"""A car as data: buses, control units, what they broadcast and what they answer."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from .layout import BroadcastListener
from .requests import ControlUnit, PollRequest, SingleFrameFormat
from .signals import Signal


@dataclass(frozen=True, slots=True)
class BusDescription:
    """A bus of the car: its role ("drive"), bit rate in bit/s, and whether it is silent until asked (a gateway)."""

    role: str
    bitrate: int
    silent: bool = False
    meaning: str = ""


@dataclass(frozen=True, slots=True)
class IgnitionEvidence:
    """What a signal says about the ignition.

    Args:
        signal: which one; it must come from listening or from a wire.
        on, off, start: its values that mean ON, that mean not ON, and that mean the starter turns. Numbers: see below.
        above: a number larger than this means ON (an engine that turns); smaller says nothing.
        lifetime_s: how long one sample counts.
        alive_with: (bus, id) of a frame whose presence keeps a signal that is sent on change alive, else None.
        wire: the input whose word this is, as its source is named; "" for what the car's description says.
    """

    signal: str
    on: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    start: tuple[str, ...] = ()
    above: float | None = None
    lifetime_s: float = 2.0
    alive_with: tuple[str, int] | None = None
    wire: str = ""

    @property
    def name(self) -> str:
        """What it is called to a person."""
        return self.wire or self.signal


@dataclass(frozen=True, slots=True)
class ExpectedFrame:
    """A frame by which the car is recognised: id, length in bytes, and the period it was heard with."""

    bus: str
    id: int
    extended: bool
    length: int
    period_s: float | None = None


@dataclass(frozen=True, slots=True)
class Exchange:
    """Evidence that a maker's command only reads: another tester was heard using it.

    Args:
        format: name of the single-frame format.
        unit: control unit that was asked.
        request: the request's bytes.
        times: how often the same request was heard; at least ten.
        answers: different answers that came; at least two.
        trace: SHA-256 of the trace that shows it.
    """

    format: str
    unit: str
    request: bytes
    times: int
    answers: int
    trace: str


@dataclass(frozen=True, slots=True)
class CarDescription:
    """Everything that is known about one car.

    Names are unique in their list; `ignition` is a list because one signal is rarely enough. `buttons` names the
    `button.<name>` signals the car has, with "driving" for those that act on driving (cruise control) and "wired" for
    push buttons of the owner's own, which the car knows nothing of. `signals` are quantities that only this car has,
    named ``car.<name>``; the rest comes from the catalogue.
    """

    name: str
    title: str
    buses: tuple[BusDescription, ...]
    units: tuple[ControlUnit, ...] = ()
    formats: tuple[SingleFrameFormat, ...] = ()
    broadcasts: tuple[BroadcastListener, ...] = ()
    polls: tuple[PollRequest, ...] = ()
    ignition: tuple[IgnitionEvidence, ...] = ()
    buttons: tuple[tuple[str, str], ...] = ()
    fingerprint: tuple[ExpectedFrame, ...] = ()
    exchanges: tuple[Exchange, ...] = ()
    knob_applies: str = "night"
    origin: str = ""
    signals: tuple[Signal, ...] = ()


@dataclass(frozen=True, slots=True)
class CarFile:
    """A car description kept as a TOML file beside a plug-in; the core reads it and reports its mistakes."""

    path: Path
