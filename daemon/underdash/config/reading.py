"""Reads `underdash.toml` and lists all its mistakes at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from ..contract.signals import Signal
from ..contract.units import UNITS, compatible, linear
from .migration import migrated
from .mistakes import ConfigError, Mistakes, Source
from .schema import Config
from .structure import Structure
from .toml import parse_toml, read_toml

MAKERS = range(0xA0, 0xBF)
"""Command bytes that ISO 14229-1 and ISO 14230-3 leave to makers; only these can be allowed by the owner."""


def read_config(path: Path, signals: Mapping[str, Signal] | None = None) -> Config:
    """Read a configuration.

    Args:
        path: the file.
        signals: known signals by name, to check the keys of ``[units]`` and ``[signals]``; None accepts any.

    Returns:
        The configuration; settings of plug-ins in it are not checked yet, see `check_settings`.

    Raises:
        ConfigError: with all mistakes of the file.
    """
    return make_config(*read_toml(path), signals)


def parse_config(text: str, file: str = "underdash.toml", signals: Mapping[str, Signal] | None = None) -> Config:
    """Make a configuration of TOML text; see `read_config`."""
    return make_config(*parse_toml(text, file), signals)


def make_config(table: dict[str, Any], source: Source, signals: Mapping[str, Signal] | None = None) -> Config:
    """Make a configuration of a table and the file it was read from; see `read_config`."""
    mistakes = Mistakes(source)
    table = migrated(table, mistakes)
    config = Structure(mistakes).make(Config, table)
    _check_units(table.get("units"), mistakes, signals)
    _check_reads(table.get("reads"), mistakes)
    _check_order(table.get("signals"), mistakes, signals)
    _check_enabled(table.get("plugins"), mistakes)
    _check_inputs(table.get("input"), mistakes, signals)
    mistakes.raise_any()
    if config is None:  # cannot happen; tells the type checker
        raise ConfigError([])
    return replace(config, path=Path(source.file), source=source)


def _check_units(table: object, mistakes: Mistakes, signals: Mapping[str, Signal] | None) -> None:
    for name, unit in _strings(table):
        path = ("units", name)
        known = _stored_unit(name, signals)
        if known is None:
            allowed = 'a stored unit, such as "kPa" or "degC", or the name of a signal'
            mistakes.add(path, name, allowed, [*UNITS, *(signals or ())])
        elif unit not in UNITS:
            mistakes.add(path, unit, "units " + ", ".join(compatible(known) if known in UNITS else UNITS), UNITS)
        elif known in UNITS:
            try:
                linear(known, unit)
            except ValueError as exc:
                mistakes.add(path, unit, f"one of {', '.join(compatible(known))}: {exc}")


def _stored_unit(name: str, signals: Mapping[str, Signal] | None) -> str | None:
    """Return the stored unit a key of ``[units]`` is about, "?" where that cannot be known, None if it is wrong."""
    if name in UNITS and name:
        return name
    if signals is None:
        return "?" if "." in name else None
    return signals[name].unit if name in signals else None


def _check_reads(table: object, mistakes: Mistakes) -> None:
    if not isinstance(table, dict):
        return
    for unit, texts in table.items():
        for index, text in enumerate(texts if isinstance(texts, list) else ()):
            if isinstance(text, str) and not _maker_byte(text):
                allowed = (
                    'a byte from "A0" to "BE" in hex, which the standards leave to makers; no other can be allowed'
                )
                mistakes.add(("reads", unit, index), text, allowed)


def _maker_byte(text: str) -> bool:
    return len(text) == 2 and all(c in "0123456789abcdefABCDEF" for c in text) and int(text, 16) in MAKERS


def _check_order(table: object, mistakes: Mistakes, signals: Mapping[str, Signal] | None) -> None:
    order = table.get("order") if isinstance(table, dict) else None
    for name, kinds in order.items() if isinstance(order, dict) else ():
        path = ("signals", "order", name)
        if signals is not None and name not in signals:
            mistakes.add_signal(path, name, signals)
        if isinstance(kinds, list) and len(kinds) != len({str(kind) for kind in kinds}):
            mistakes.add(path, kinds, "each kind of source once")


def _check_enabled(table: object, mistakes: Mistakes) -> None:
    names = table.get("enabled") if isinstance(table, dict) else None
    for index, name in enumerate(names if isinstance(names, list) else ()):
        if isinstance(names, list) and name in names[:index]:
            mistakes.add(("plugins", "enabled", index), name, "each plug-in once")


def _check_inputs(table: object, mistakes: Mistakes, signals: Mapping[str, Signal] | None) -> None:
    for name, one in table.items() if isinstance(table, dict) else ():
        signal = one.get("signal") if isinstance(one, dict) else None
        if signals is not None and isinstance(signal, str) and signal not in signals:
            mistakes.add_signal(("input", name, "signal"), signal, signals)


def _strings(table: object) -> list[tuple[str, str]]:
    return [(k, v) for k, v in table.items() if isinstance(v, str)] if isinstance(table, dict) else []
