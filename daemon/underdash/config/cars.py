"""Car description files to `CarDescription`: reads one, its base and its variants, and lists all mistakes at once."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, TypeVar

from ..contract.cars import CarDescription
from ..contract.layout import BroadcastListener, Field
from ..contract.requests import PollRequest
from ..contract.signals import Signal
from .car_layout import Context, clash
from .car_merge import Layer, merged, signals_of
from .car_parts import (
    bus_of,
    exchange_of,
    expected_of,
    format_of,
    ignition_of,
    listener_of,
    own_signal_of,
    poll_of,
)
from .car_tables import HeadTable, SectionsTable, VariantTable
from .car_units import unit_of
from .car_whole import check_whole
from .mistakes import KeyPath, Mistakes, Source, Words
from .structure import Structure
from .toml import read_toml

T = TypeVar("T")
Table = dict[str, Any]


@dataclass(frozen=True, slots=True)
class CarSource:
    """A car file as tables, not yet understood."""

    table: Table
    source: Source
    folder: Path


@dataclass(frozen=True, slots=True)
class Known:
    """What is known beside the files; see `read_car`."""

    signals: Mapping[str, Signal] | None = None
    protocols: frozenset[str] = frozenset()
    strict: bool = True


def read_car(
    path: Path,
    *,
    variant: str | None = None,
    signals: Mapping[str, Signal] | None = None,
    protocols: Iterable[str] = (),
    strict: bool = True,
) -> CarDescription:
    """Read a car description.

    Args:
        path: the TOML file.
        variant: which of its variants; needed where it has any, since none is guessed.
        signals: known signals by name; None accepts any name.
        protocols: protocols that plug-ins bring, beside the standard ones and the file's own formats.
        strict: a signal that is not known is a mistake; False leaves it to those who compile the fields.

    Returns:
        The description. A request of service 01 without fields means the standard's own.

    Raises:
        ConfigError: with all mistakes of the file (or of its base, if that has some).
    """
    table, source = read_toml(path)
    return make_car(table, source, path.parent, variant=variant, signals=signals, protocols=protocols, strict=strict)


def make_car(
    table: Table,
    source: Source,
    folder: Path,
    *,
    variant: str | None = None,
    signals: Mapping[str, Signal] | None = None,
    protocols: Iterable[str] = (),
    strict: bool = True,
) -> CarDescription:
    """Make a description of a table; `folder` is where a base lies. See `read_car`."""
    car, variants = _read(CarSource(table, source, folder), Known(signals, frozenset(protocols), strict), 0)
    variant = variant or None
    if variant is None and not variants:
        return car
    mistakes = Mistakes(source)
    if variant is None:
        allowed = (
            f"one of {', '.join(variants)}; choose with `variant` in [car] of the configuration, or with --variant"
        )
        mistakes.add((), Words("no choice of a variant"), allowed)
    elif variant not in variants:
        allowed = "as a variant " + ", ".join(variants) if variants else "no choice; this car has no variants"
        mistakes.add((), variant, allowed, variants)
    mistakes.raise_any()
    return variants[str(variant)]


def variants_of(path: Path, protocols: Iterable[str] = ()) -> dict[str, str]:
    """Return the variants of a car file, name to title; raises `ConfigError` as `read_car` does."""
    table, source = read_toml(path)
    _, variants = _read(CarSource(table, source, path.parent), Known(protocols=frozenset(protocols)), 0)
    return {name: car.title for name, car in variants.items()}


def _read(file: CarSource, known: Known, depth: int) -> tuple[CarDescription, dict[str, CarDescription]]:
    mistakes = Mistakes(file.source)
    structure = Structure(mistakes)
    head_keys, section_keys = _keys(HeadTable), _keys(SectionsTable)
    _unknown(file.table, {*head_keys, *section_keys, "variant"}, (), mistakes)
    head = structure.make(HeadTable, {k: v for k, v in file.table.items() if k in head_keys})
    base = _base(file, known, depth, mistakes)
    counts_from = 1 if file.table.get("counting") == "from 1" else 0
    context = Context(structure, counts_from, known.signals, protocols=known.protocols, strict=known.strict)
    car = base or CarDescription("", "", ())
    sections = {k: v for k, v in file.table.items() if k in section_keys}
    layer = _layer(sections, (), context, car, head.without if head else ())
    car = merged(car, layer)
    if head:
        knob = head.knob_applies or car.knob_applies
        car = replace(car, name=head.name, title=head.title, origin=head.origin, knob_applies=knob)
    variants = _variants(file.table.get("variant"), context, car)
    check_whole(car, context)
    mistakes.raise_any()
    return car, variants


def _base(file: CarSource, known: Known, depth: int, mistakes: Mistakes) -> CarDescription | None:
    name = file.table.get("base")
    if not name or not isinstance(name, str):
        return None
    if depth:
        mistakes.add(("base",), name, "nothing: a base stands on its own")
        return None
    path = file.folder / (name if name.endswith(".toml") else f"{name}.toml")
    if not os.path.isfile(path):  # unlike Path.is_file, this takes any name without raising
        near = [p.name for p in file.folder.glob("*.toml")]
        mistakes.add(("base",), name, f"a car file beside this one ({path} does not exist)", near)
        return None
    table, source = read_toml(path)
    car, variants = _read(CarSource(table, source, path.parent), known, depth + 1)
    if variants:
        mistakes.add(("base",), name, "a car file without variants")
    return car


def _layer(sections: Table, path: KeyPath, context: Context, below: CarDescription, without: Iterable[str]) -> Layer:
    made = context.structure.make(SectionsTable, sections, path) or _kept(sections, path, context)
    context.buses = {b.role for b in below.buses} | set(made.bus or {})
    buses = _named(made.bus, (*path, "bus"), context, bus_of)
    units = _named(made.unit, (*path, "unit"), context, unit_of)
    formats = _named(made.request_format, (*path, "request_format"), context, format_of)
    context.units = {u.name: u for u in below.units} | units
    context.formats = {f.name: f for f in below.formats} | formats
    context.broken = (set(made.unit or {}) - set(units)) | (set(made.request_format or {}) - set(formats))
    signals = _own_signals(made.signal, (*path, "signal"), context)
    context.own = {one.name: one for one in (*below.signals, *signals)}
    broadcasts = _listed(made.broadcast, (*path, "broadcast"), context, listener_of)
    polls = _listed(made.poll, (*path, "poll"), context, poll_of)
    _check_once(broadcasts, context)
    _check_requests(polls, context)
    return Layer(
        tuple(buses.values()),
        tuple(units.values()),
        tuple(formats.values()),
        tuple(entry for _, entry in broadcasts),
        tuple(entry for _, entry in polls),
        tuple(entry for _, entry in _listed(made.ignition, (*path, "ignition"), context, ignition_of)),
        tuple((made.buttons or {}).items()),
        tuple(entry for _, entry in _listed(made.fingerprint, (*path, "fingerprint"), context, expected_of)),
        tuple(entry for _, entry in _listed(made.exchange, (*path, "exchange"), context, exchange_of)),
        _without(tuple(without), path, context, below),
        signals,
    )


def _own_signals(raw: list[Any] | None, path: KeyPath, context: Context) -> tuple[Signal, ...]:
    """Make the signals that a file declares itself."""
    made: dict[str, Signal] = {}
    for where, one in _listed(raw, path, context, own_signal_of):
        if one.name in made:
            context.mistakes.add((*where, "name"), Words(f"{one.name} a second time"), "each signal once")
        made[one.name] = one
    return tuple(made.values())


def _kept(sections: Table, path: KeyPath, context: Context) -> SectionsTable:
    """Keep the sections that have the right shape, so that their own mistakes are told too."""
    quiet = Structure(Mistakes(context.mistakes.source))
    kept = {k: v for k, v in sections.items() if quiet.make(SectionsTable, {k: v}, path)}
    return quiet.make(SectionsTable, kept, path) or SectionsTable()


def _variants(raw: object, context: Context, car: CarDescription) -> dict[str, CarDescription]:
    if raw is None:
        return {}
    if not isinstance(raw, dict):
        context.mistakes.add(("variant",), raw, "tables [variant.<name>]")
        return {}
    made = {}
    for name, table in raw.items():
        path = ("variant", name)
        head_keys, section_keys = _keys(VariantTable), _keys(SectionsTable)
        if not isinstance(table, dict):
            context.mistakes.add(path, table, "a table")
            continue
        _unknown(table, {*head_keys, *section_keys}, path, context.mistakes)
        head = context.structure.make(VariantTable, {k: v for k, v in table.items() if k in head_keys}, path)
        sections = {k: v for k, v in table.items() if k in section_keys}
        layer = _layer(sections, path, context, car, head.without if head else ())
        if head:
            knob = head.knob_applies or car.knob_applies
            made[name] = replace(merged(car, layer), title=head.title, knob_applies=knob)
    return made


def _named(
    raw: Table | None, path: KeyPath, context: Context, make: Callable[[str, object, KeyPath, Context], T | None]
) -> dict[str, T]:
    made = {name: make(name, table, (*path, name), context) for name, table in (raw or {}).items()}
    return {name: entry for name, entry in made.items() if entry is not None}


def _listed(
    raw: list[Any] | None, path: KeyPath, context: Context, make: Callable[[object, KeyPath, Context], T | None]
) -> list[tuple[KeyPath, T]]:
    made = [((*path, i), make(table, (*path, i), context)) for i, table in enumerate(raw or [])]
    return [(where, entry) for where, entry in made if entry is not None]


def _check_once(broadcasts: list[tuple[KeyPath, BroadcastListener]], context: Context) -> None:
    """Two entries for one frame must not feed one signal both; fields within an entry were checked with it."""
    seen: dict[tuple[str, int, bool], list[tuple[KeyPath, Field]]] = {}
    for where, entry in broadcasts:
        before = seen.setdefault((entry.bus, entry.id, entry.extended), [])
        for one in entry.fields:
            first = next((place for place, other in before if clash(other, one)), None)
            if first is not None:
                allowed = f"each signal once in a frame; {context.mistakes.source.place(first)} is the same frame"
                context.mistakes.add((*where, "fields"), Words(f"{one.signal} a second time"), allowed)
        before += [(where, one) for one in entry.fields]


def _check_requests(polls: list[tuple[KeyPath, PollRequest]], context: Context) -> None:
    seen: dict[tuple[str, str, int], KeyPath] = {}
    for where, poll in polls:
        first = seen.setdefault((poll.unit, poll.protocol, poll.identifier), where)
        if first != where:
            found = Words(f"{poll.identifier:X} a second time")
            allowed = f"each request once; put all its fields into {context.mistakes.source.place(first)}"
            context.mistakes.add((*where, "identifier"), found, allowed)


def _without(names: tuple[str, ...], path: KeyPath, context: Context, below: CarDescription) -> frozenset[str]:
    known = signals_of(below)
    for index, name in enumerate(names):
        if name not in known:
            context.mistakes.add((*path, "without", index), name, "a signal of the base", known)
    return frozenset(names)


def _unknown(table: Table, known: set[str], path: KeyPath, mistakes: Mistakes) -> None:
    for name in table.keys() - known:
        unused = known - table.keys()
        mistakes.add((*path, name), name, "keys " + ", ".join(sorted(unused)), unused)


def _keys(kind: type) -> set[str]:
    return {f.name for f in fields(kind)}
