"""What the owner wired, and what plug-ins bring of that kind, joined to the car: sources, push buttons, evidence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from ..buttons.handlers import WIRED
from ..contract.cars import CarDescription, IgnitionEvidence
from ..contract.signals import Signal
from ..contract.sources import Input, InputKind
from ..inputs.compiling import IGNITION, Named, Wire, compile_inputs
from ..signals.catalogue import BUTTON
from ..signals.store import Store

LIFETIME_S = 2.0
"""How long one look at the ignition's wire counts; it is looked at every half second."""


def wired(
    own: Mapping[str, Input],
    brought: Iterable[tuple[str, Input]],
    car: CarDescription,
    store: Store,
    signals: Mapping[str, Signal],
) -> tuple[list[Wire], list[str]]:
    """Compile inputs.

    Args:
        own: from the configuration, by name.
        brought: (plug-in, input).
        car: as described.
        store: gets their slots.
        signals: by name.

    Returns:
        The wires, and sentences about inputs that are left out.
    """
    evidence = {IGNITION, *(one.signal for one in car.ignition)}
    taken = {BUTTON + name for name, _ in car.buttons}
    named, problems = [Named(name, item) for name, item in own.items()], []
    for plugin, item in brought:
        if item.signal in evidence:
            problems.append(
                f"plug-in {plugin}: {item.signal} says whether the ignition is on, and only your own configuration may "
                "say which wire that is; add an [input.<name>] there"
            )
        else:
            named.append(Named(f"{item.signal} of {plugin}", item))
    problems += [
        f"input {name} is left out: the car has a {item.signal} of its own; give the wired one another name"
        for name, item in named
        if item.signal in taken
    ]
    made = compile_inputs([one for one in named if one.item.signal not in taken], store, signals)
    return made.wires, [*problems, *made.problems]


def with_buttons(car: CarDescription, own: Mapping[str, Input]) -> CarDescription:
    """Return the car with the owner's push buttons, for plug-ins that take what buttons there are."""
    there = {name for name, _ in car.buttons}
    names = {one.signal.removeprefix(BUTTON) for one in own.values() if one.signal.startswith(BUTTON)}
    return replace(car, buttons=(*car.buttons, *((name, WIRED) for name in sorted(names - there))))


def with_wires(car: CarDescription, wires: Iterable[Wire]) -> CarDescription:
    """Return the car with the push buttons and the evidence for its ignition that the owner wired."""
    wires = list(wires)
    buttons = tuple((wire.button, WIRED) for wire in wires if wire.button)
    keys = tuple(_evidence(wire) for wire in wires if _is_key(wire))
    return replace(car, buttons=(*car.buttons, *buttons), ignition=(*car.ignition, *keys))


def _is_key(wire: Wire) -> bool:
    return wire.item.signal == IGNITION and wire.item.kind is InputKind.GPIO


def _evidence(wire: Wire) -> IgnitionEvidence:
    """Return a wire as a witness of its own, which has to be seen on and off like any other.

    The wire of the starter says nothing while it is off.
    """
    source = wire.slot.source
    if wire.levels[True] == "START":
        return IgnitionEvidence(IGNITION, start=("START",), lifetime_s=LIFETIME_S, wire=source)
    return IgnitionEvidence(IGNITION, on=("ON",), off=("OFF",), lifetime_s=LIFETIME_S, wire=source)
