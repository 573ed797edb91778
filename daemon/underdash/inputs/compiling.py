"""Declared inputs become wires: each with its slot in the store and the function that its values go through."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from ..contract.errors import UnderdashError
from ..contract.signals import Signal, Value
from ..contract.sources import Input, InputKind
from ..signals.catalogue import BUTTON
from ..signals.store import Rank, Slot, Store
from .conversion import Convert, converter, levels

IGNITION = "vehicle.ignition"
LOOK_S = 0.5
"""A line is looked at this often besides its edges, so that an edge that was lost heals."""


class Named(NamedTuple):
    """An input with a name for a person: the owner's, or the plug-in's that brought it."""

    name: str
    item: Input


@dataclass(frozen=True, slots=True)
class Wire:
    """An input that can be read.

    Attributes:
        levels: what a line says while it is off and on.
        convert: what a channel's number goes through.
    """

    name: str
    item: Input
    slot: Slot
    levels: tuple[Value | None, Value | None] = (None, None)
    convert: Convert | None = None

    @property
    def button(self) -> str:
        """The name of the button that it is, "" if it is none."""
        name = self.item.signal
        return name.removeprefix(BUTTON) if name.startswith(BUTTON) else ""


@dataclass(slots=True)
class Wires:
    """Inputs that can be read, and sentences about those that cannot."""

    wires: list[Wire] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


def source_of(name: str, item: Input) -> str:
    """Return how the store names an input as a source; another line or level of a key has to prove itself anew."""
    if item.signal != IGNITION:
        return f"input {name}"
    return f"input {name} on {'low ' if item.inverted else ''}{item.place}"


def compile_inputs(declared: Iterable[Named], store: Store, signals: Mapping[str, Signal]) -> Wires:
    """Give every input a slot.

    Args:
        declared: in the order in which they are preferred.
        store: gets the slots.
        signals: by name.

    Returns:
        The wires; an input with a mistake is left out and named.
    """
    made = Wires()
    for name, item in declared:
        try:
            made.wires.append(_compiled(name, item, store, signals, made.wires))
        except UnderdashError as exc:
            made.problems.append(f"input {name} is left out: {exc}")
    return made


def _compiled(name: str, item: Input, store: Store, signals: Mapping[str, Signal], before: list[Wire]) -> Wire:
    if item.signal not in signals:
        raise UnderdashError(f"nobody declares a signal {item.signal!r}; `underdash signals` lists those there are")
    signal, source = signals[item.signal], source_of(name, item)
    same = next((wire for wire in before if wire.item.signal == item.signal), None)
    if same is not None and item.signal.startswith(BUTTON):
        raise UnderdashError(f"input {same.name} is {item.signal} already; give each button a name of its own")
    if item.kind is InputKind.GPIO:
        if not item.place:
            raise UnderdashError('a gpio input needs its line, such as "GPIO17"')
        says = levels(item, signal)
        return Wire(name, item, store.slot(item.signal, source, Rank.INPUT, period_s=LOOK_S), levels=says)
    convert = converter(item, signal)
    return Wire(name, item, store.slot(item.signal, source, Rank.INPUT, period_s=item.period_s), convert=convert)
