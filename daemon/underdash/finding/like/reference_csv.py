"""A reference as CSV: seconds of the trace's clock in the first column, numbers in others; comma, semicolon or tab."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...contract.errors import GivenError
from ...contract.units import UNITS, linear
from ...signals.catalogue import CATALOGUE
from .reference import Reference

LARGEST = 1e12
"""Far more than anything in a car, and little enough to be squared."""
SEPARATORS = ";\t,"
SPELT = {
    unit.replace("/", over): unit
    for unit in UNITS
    for over in ("/", "_per_", "_")
    if len(unit) > 1 and unit not in ("min", "ratio", "lambda")
}
"""How the end of a head may spell a unit; of one letter or of a word that means something else it need not be one."""
UNIT = re.compile(r"^(?P<name>.*?)\s*[\[(](?P<unit>[^\])]*)[\])]$")
SHAPE = "the first column holds seconds of the trace's clock, another the numbers, separated by commas or semicolons"


@dataclass(frozen=True, slots=True)
class _Table:
    name: str
    heads: tuple[str, ...]
    rows: tuple[tuple[int, list[str]], ...]
    separator: str


def parse_reference(
    text: str, name: str, *, column: str | None = None, unit: str | None = None
) -> tuple[Reference, tuple[str, ...]]:
    """Read a reference.

    Args:
        text: the file's.
        name: the file's, for messages.
        column: which column, by its head or its number from 1; the second if None and there are only two.
        unit: of its numbers; else what the head says in brackets. It is turned into the unit that signals are kept in.

    Returns:
        The reference and sentences about how it was read.

    Raises:
        GivenError: a line that is none, no such column or unit.
    """
    name = _shown(name)
    table = _table(text, name)
    number = _column(table, column)
    head, said = map(_shown, _head(table, number))
    notes: list[str] = []
    at, value = _numbers(table, number, notes)
    _compare(unit, said, name, notes)
    wanted, factor, offset = _unit(unit or said, name, given=unit is not None)
    if (factor, offset) != (1.0, 0.0):
        notes.append(f"{head}: {unit or said} was turned into {wanted}, in which signals are kept")
    order = np.argsort(at, kind="stable")
    return Reference(head, at[order], value[order] * factor + offset, wanted), tuple(notes)


def _table(text: str, name: str) -> _Table:
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if not lines:
        raise GivenError(f"{name}: nothing in it; {SHAPE}")
    separator = next((sign for sign in SEPARATORS if sign in lines[0][1]), ",")
    rows = [(n, [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]) for n, line in lines]
    heads: tuple[str, ...] = ()
    if _number(rows[0][1][0], separator) is None:
        heads, rows = tuple(rows[0][1]), rows[1:]
    if not rows:
        raise GivenError(f"{name}: only a head and no numbers in it; {SHAPE}")
    wide = max(len(cells) for _, cells in rows)
    columns = len(heads) or wide
    if separator == "," and wide in (2 * columns, 2 * columns - 1) and heads and wide > columns:
        raise GivenError(
            f"{name}: {columns} heads but up to {wide} cells: a decimal comma needs semicolons between the columns; "
            "write points, or export it with semicolons"
        )
    return _Table(name, heads, tuple(rows), separator)


def _column(table: _Table, wanted: str | None) -> int:
    columns = len(table.heads) or len(table.rows[0][1])
    there = ", ".join(table.heads) if table.heads else f"1 to {columns}"
    if columns < 2:
        raise GivenError(f"{table.name}: only one column; {SHAPE}")
    if wanted is None:
        if columns > 2:
            raise GivenError(f"{table.name}: which of the columns {there}? Name one with --column")
        return 1
    if wanted in table.heads[1:]:
        return table.heads.index(wanted)
    plain = [_plain(head)[0] for head in table.heads]
    if wanted in plain[1:]:
        return plain.index(wanted)
    if wanted.isdigit() and 2 <= int(wanted) <= columns:
        return int(wanted) - 1
    raise GivenError(f"--column {wanted}: {table.name} has no such column beside the time; there are {there}")


def _plain(head: str) -> tuple[str, str]:
    """Split ``speed [km/h]``, and ``speed_km_per_h`` or ``speed km/h`` where that is a unit which is known."""
    match = UNIT.match(head)
    if match:
        return match["name"], match["unit"]
    for spelt, unit in SPELT.items():
        name = head.removesuffix(spelt)
        if name != head and name[-1:] in (" ", "_") and name.strip(" _"):
            return name.rstrip(" _"), unit
    return head, ""


def _head(table: _Table, number: int) -> tuple[str, str]:
    if not table.heads:
        return f"{table.name} column {number + 1}", ""
    head, unit = _plain(table.heads[number])
    return (table.name, head) if head in UNITS and not unit else (head, unit)


def _shown(name: str) -> str:
    """Return a name as it can be shown and written down; that of a file may be no text."""
    return "".join(sign if sign.isprintable() else "?" for sign in name)


def _compare(given: str | None, said: str, name: str, notes: list[str]) -> None:
    """Take note of a unit that is another one than the head says; raises `GivenError` where it cannot be both."""
    if not (given and said) or given == said or not {given, said} <= UNITS.keys():
        return
    if UNITS[given].quantity != UNITS[said].quantity:
        raise GivenError(
            f"--reference-unit {given}: the column's head in {name} says {said}, which is of another quantity; leave "
            "the option out, or put the head right"
        )
    notes.append(f"{name}: the column's head says {said}; as --reference-unit has it, it was read as {given}")


def _numbers(table: _Table, number: int, notes: list[str]) -> tuple[np.ndarray, np.ndarray]:
    at: list[float] = []
    value: list[float] = []
    empty = commas = 0
    for line, cells in table.rows:
        if len(cells) <= number or not cells[number]:
            empty += 1
            continue
        pair = [_number(cell, table.separator) for cell in (cells[0], cells[number])]
        if pair[0] is None or pair[1] is None:
            wrong = cells[0] if pair[0] is None else cells[number]
            raise GivenError(f"{table.name}, line {line}: {wrong!r} is no number up to {LARGEST:g}; {SHAPE}")
        commas += "," in cells[number] or "," in cells[0]
        at.append(pair[0])
        value.append(pair[1])
    if commas:
        notes.append(f"{table.name}: commas were read as decimal commas")
    if empty:
        notes.append(f"{table.name}: {empty} lines without a number were left out")
    return np.array(at), np.array(value)


def _number(cell: str, separator: str) -> float | None:
    try:
        value = float(cell.replace(",", ".") if separator != "," else cell)
    except ValueError:
        return None
    return value if abs(value) <= LARGEST else None


def _unit(unit: str, name: str, *, given: bool) -> tuple[str, float, float]:
    """Return the unit that signals are kept in, and how to get there; an unknown one in a head stays as it is."""
    if unit not in UNITS:
        if given:
            known: Sequence[str] = sorted(one for one in UNITS if one)
            raise GivenError(f"--reference-unit {unit} is not known; known are {', '.join(known)}")
        return unit, 1.0, 0.0
    quantity = UNITS[unit].quantity
    kept = next((s.unit for s in CATALOGUE.values() if s.unit and UNITS[s.unit].quantity == quantity), unit)
    return (kept, *linear(unit, kept))
