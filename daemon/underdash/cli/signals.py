"""``underdash signals [WORD]``: the names there are, with unit, range and meaning, and who provides them."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from .common import config

if TYPE_CHECKING:
    from ..contract.signals import Signal

NAMED, NOTHING = 0, 1


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("words", nargs="*", metavar="WORD", help="only those with all these words in name or meaning")
    parser.add_argument(
        "--config", metavar="F", help="also those of its plug-ins and of its car, and where each comes from"
    )


def run(arguments: argparse.Namespace) -> int:
    """List signals; 1 if none is like that. No daemon is asked."""
    from ..signals.searching import found, nearest

    signals, sources = _known(arguments)
    listed = found(arguments.words, signals)
    for line in _lines(listed, sources):
        print(line)
    if not arguments.words:
        print("button.<name>  any such name is a switch: the button is pressed")
    if listed:
        return NAMED
    words = " ".join(arguments.words)
    near = nearest("_".join(arguments.words), signals)
    guess = f"; {near} comes near" if near else "; try a shorter word, or one alone"
    print(f"no signal has {words!r} in its name or meaning{guess}", file=sys.stderr)
    return NOTHING


def _known(arguments: argparse.Namespace) -> tuple[Mapping[str, Signal], Mapping[str, Sequence[str]]]:
    """Return the signals by name, and the sources of those that have any."""
    if arguments.config:
        from ..wiring.building import assembled

        assembly = assembled(config(arguments))
        store = assembly.store
        provided = {name: store.slots(name) for name in store.names()}
        signals = {**assembly.catalogue, **{name: slots[0].signal for name, slots in provided.items()}}
        return signals, {name: [slot.source for slot in slots] for name, slots in provided.items()}
    from ..diagnostics.parameters import own_signals
    from ..signals.catalogue import CATALOGUE

    return CATALOGUE.with_signals(own_signals()), {}


def _lines(listed: Sequence[Signal], sources: Mapping[str, Sequence[str]]) -> list[str]:
    rows = [(one.name, one.unit, _range(one), one.meaning + _from(sources.get(one.name, ()))) for one in listed]
    widths = [max((len(row[column]) for row in rows), default=0) for column in range(3)]
    return ["  ".join([*map(str.ljust, row, widths), row[3]]) for row in rows]


def _range(signal: Signal) -> str:
    if signal.choices:
        return "|".join(signal.choices)
    if signal.low is None and signal.high is None:
        return "" if signal.unit else signal.kind.value
    low, high = ("" if limit is None else f"{limit:g}" for limit in (signal.low, signal.high))
    return f"{low}..{high}"


def _from(sources: Sequence[str]) -> str:
    return f"  <- {', '.join(sources)}" if sources else ""
