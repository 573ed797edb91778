"""The description to look things up in has every key there is, each with an explanation, and all of it is taken."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest

from underdash.broadcast.dispatch import register
from underdash.bus.table import Table
from underdash.config import car_tables
from underdash.config.car_tables import (
    BroadcastTable,
    BusTable,
    ExchangeTable,
    FieldTable,
    FingerprintTable,
    FormatTable,
    HeadTable,
    IgnitionTable,
    PollTable,
    SectionsTable,
    SignalTable,
    UnitTable,
    VariantTable,
)
from underdash.config.cars import read_car, variants_of
from underdash.diagnostics.requests import compile_polls
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store

FILE = Path(__file__).parents[2] / "config" / "cars" / "every_key.toml"
BY_NAME: dict[str, type] = {"bus": BusTable, "unit": UnitTable, "request_format": FormatTable}
LISTED: dict[str, type] = {
    "broadcast": BroadcastTable,
    "signal": SignalTable,
    "poll": PollTable,
    "ignition": IgnitionTable,
    "fingerprint": FingerprintTable,
    "exchange": ExchangeTable,
}
NAMES_OF_THE_CAR_S_OWN = {"buttons"}
"""Sections whose keys are not ours but names."""
Shown = tuple[type, frozenset[str]]


def shown(table: dict[str, Any], kind: type) -> Iterator[Shown]:
    """Yield each table of a file with the dataclass it is for."""
    yield kind, frozenset(table)
    if kind in (HeadTable, VariantTable):
        yield SectionsTable, frozenset(table)
        for section, inner in BY_NAME.items():
            for one in table.get(section, {}).values():
                yield from shown(one, inner)
        for section, inner in LISTED.items():
            for one in table.get(section, []):
                yield from shown(one, inner)
        for variant in table.get("variant", {}).values():
            yield from shown(variant, VariantTable)
    for one in table.get("fields", []):
        yield from shown(one, FieldTable)
    hints = get_type_hints(kind)
    for key in table.keys() & hints.keys():
        part = next((one for one in (hints[key], *get_args(hints[key])) if is_dataclass(one)), None)
        if isinstance(part, type):
            yield from shown(table[key], part)


def kinds() -> list[type]:
    every = [one for one in vars(car_tables).values() if isinstance(one, type) and is_dataclass(one)]
    return [one for one in every if one.__module__ == car_tables.__name__]


def own_keys(kind: type) -> set[str]:
    """Return the keys a dataclass adds to those it inherits; these are looked for wherever they may stand."""
    inherited = {item.name for base in kind.__bases__ if is_dataclass(base) for item in fields(base)}
    return {item.name for item in fields(kind)} - inherited


def missing(text: str) -> list[str]:
    seen = list(shown(tomllib.loads(text), HeadTable))
    return [
        f"{kind.__name__}.{key}"
        for kind in kinds()
        for key in sorted(own_keys(kind))
        if not any(issubclass(one, kind) and key in keys for one, keys in seen)
    ]


def unexplained(text: str) -> list[str]:
    """Return keys that no remark is about: neither by name in `marks`, nor right above the key or its group."""
    keys = {key for kind in kinds() for key in own_keys(kind)} - BY_NAME.keys() - LISTED.keys() - NAMES_OF_THE_CAR_S_OWN
    group, remarks, told = 0, "", set()
    for line in text.splitlines():
        if line.lstrip().startswith("#"):
            group, remarks = 3, remarks + line  # a remark is about three keys at most
        elif key := re.match(r"(\w+) = ", line):
            told |= {key[1]} if group > 0 else set()
            group -= 1
        elif not line:
            group = 0
    return sorted(key for key in keys if f"`{key}`" not in remarks and key not in told)


def test_every_key_there_is_stands_in_the_file() -> None:
    assert missing(FILE.read_text()) == []


def test_every_key_is_explained() -> None:
    assert unexplained(FILE.read_text()) == []


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ("st_min_ms = 2\n", "UnitTable.st_min_ms"),
        ("saturates_at = 255", "FieldTable.saturates_at"),
        ("alive_with =", "IgnitionTable.alive_with"),
        ("once = false\n", "PollTable.once"),
    ],
)
def test_a_key_that_were_missing_would_be_noticed(line: str, key: str) -> None:
    text = FILE.read_text()
    assert text.count(line) == 1
    kept = text.replace(line, "" if line.endswith("\n") else line.replace(key.partition(".")[2], "other"))
    assert missing(kept) == [key]


def test_a_key_that_were_not_explained_would_be_noticed() -> None:
    text = FILE.read_text()
    assert "saturates_at" in unexplained(text.replace("`saturates_at`", "it"))
    assert "padding" in unexplained(re.sub(r"# the byte that fills.*\n", "\n", text))


def test_every_section_is_looked_into() -> None:
    sections = {item.name for item in fields(SectionsTable)}
    assert sections == BY_NAME.keys() | LISTED.keys() | NAMES_OF_THE_CAR_S_OWN


@pytest.mark.parametrize("variant", ["manual", "automatic"])
def test_all_of_it_can_be_heard_and_asked_for(variant: str) -> None:
    car = read_car(FILE, variant=variant, signals=CATALOGUE)
    catalogue = CATALOGUE.with_signals(car.signals)
    store, tables = Store(catalogue), {bus.role: Table() for bus in car.buses}
    made = compile_polls(car, car.polls, (), store, catalogue)

    assert list(variants_of(FILE)) == ["manual", "automatic"]
    assert register(car.broadcasts, store, tables, catalogue).problems == []
    assert made.problems == []
    assert len(made.polls) == len(car.polls)
