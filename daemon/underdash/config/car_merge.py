"""Layers of a car description: a base, the file that extends it, a variant; the upper overrides by signal."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TypeVar

from ..contract.cars import BusDescription, CarDescription, Exchange, ExpectedFrame, IgnitionEvidence
from ..contract.layout import BroadcastListener
from ..contract.requests import ControlUnit, PollRequest, SingleFrameFormat
from ..contract.signals import Signal
from ..diagnostics.obd import with_fields

Named = TypeVar("Named", BusDescription, ControlUnit, SingleFrameFormat, Signal)


@dataclass(frozen=True, slots=True)
class Layer:
    """What one file or variant says, as contract types; empty where it says nothing."""

    buses: tuple[BusDescription, ...] = ()
    units: tuple[ControlUnit, ...] = ()
    formats: tuple[SingleFrameFormat, ...] = ()
    broadcasts: tuple[BroadcastListener, ...] = ()
    polls: tuple[PollRequest, ...] = ()
    ignition: tuple[IgnitionEvidence, ...] = ()
    buttons: tuple[tuple[str, str], ...] = ()
    fingerprint: tuple[ExpectedFrame, ...] = ()
    exchanges: tuple[Exchange, ...] = ()
    without: frozenset[str] = frozenset()
    signals: tuple[Signal, ...] = ()


def merged(car: CarDescription, layer: Layer) -> CarDescription:
    """Lay one layer over a car.

    Buses, units, formats and signals replace those of their name. A signal that the layer broadcasts is no longer
    taken from the car's own broadcasts, one that it polls no longer from its polls; one in `without` is taken from
    neither. A request of a standard counts with the standard's fields. Ignition and fingerprint replace the car's
    whole; buttons and exchanges are added.
    """
    heard = layer.without | {f.signal for b in layer.broadcasts for f in b.fields}
    asked = layer.without | {f.signal for p in layer.polls for f in with_fields(p).fields}
    requests = {_request(p) for p in layer.polls}
    polls = (p for p in car.polls if _request(p) not in requests)
    return replace(
        car,
        buses=_by_name(car.buses, layer.buses),
        units=_by_name(car.units, layer.units),
        formats=_by_name(car.formats, layer.formats),
        broadcasts=_less_broadcasts(car.broadcasts, heard) + layer.broadcasts,
        polls=_less_polls(polls, asked) + layer.polls,
        ignition=layer.ignition or car.ignition,
        buttons=tuple({**dict(car.buttons), **dict(layer.buttons)}.items()),
        fingerprint=layer.fingerprint or car.fingerprint,
        exchanges=tuple(dict.fromkeys((*car.exchanges, *layer.exchanges))),
        signals=_by_name(car.signals, layer.signals),
    )


def signals_of(car: CarDescription) -> set[str]:
    """Return the signals a description has fields for, those of the standards included."""
    lists: Iterable[BroadcastListener | PollRequest] = (*car.broadcasts, *map(with_fields, car.polls))
    return {field.signal for entry in lists for field in entry.fields}


def _request(poll: PollRequest) -> tuple[str, str, int]:
    return poll.unit, poll.protocol, poll.identifier


def _by_name(below: tuple[Named, ...], above: tuple[Named, ...]) -> tuple[Named, ...]:
    names = {_name(entry) for entry in above}
    return tuple(entry for entry in below if _name(entry) not in names) + above


def _name(entry: BusDescription | ControlUnit | SingleFrameFormat | Signal) -> str:
    return entry.role if isinstance(entry, BusDescription) else entry.name


def _less_broadcasts(listeners: Iterable[BroadcastListener], signals: frozenset[str]) -> tuple[BroadcastListener, ...]:
    kept = (replace(b, fields=tuple(f for f in b.fields if f.signal not in signals)) for b in listeners)
    return tuple(listener for listener in kept if listener.fields)


def _less_polls(polls: Iterable[PollRequest], signals: frozenset[str]) -> tuple[PollRequest, ...]:
    kept = []
    for poll in polls:
        fields = with_fields(poll).fields
        left = tuple(field for field in fields if field.signal not in signals)
        if left or not fields:
            kept.append(poll if left == fields else replace(poll, fields=left))
    return tuple(kept)
