"""Writing into a description that a person keeps: lines are put between theirs, and none of theirs is written anew.

Text in, text out. A line that gives way to another one stays as a remark.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..bus.frames import key_of
from ..contract.errors import GivenError
from ..contract.layout import BroadcastListener
from ..contract.signals import Signal
from .cars import make_car
from .mistakes import ConfigError
from .shape import Shape
from .spelling import Said, Table, field_table, listener_table, signal_table
from .toml import parse_toml

_BARE = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True, slots=True)
class Addition:
    """What is to stand in a description.

    Attributes:
        listener: a frame with the fields that are new; of one that is there already only the fields are taken.
        said: who found them and how they were checked, written with each field.
        signals: those that the catalogue does not have.
        ignition: the keys of an ``[[ignition]]``, None for none.
        buttons: ``comfort`` or ``driving`` by name of the button.
    """

    listener: BroadcastListener
    said: Said = field(default_factory=dict)
    signals: tuple[Signal, ...] = ()
    ignition: Table | None = None
    buttons: Mapping[str, str] = field(default_factory=dict)


def with_addition(text: str, addition: Addition, file: str, *, instead: bool = False) -> str:
    """Return a description's text with something more in it.

    Args:
        text: the file's content.
        addition: what is new.
        file: its path, for sentences and for its base.
        instead: fields of this file that feed the same signals give way.

    Raises:
        ConfigError: the file has mistakes, before or afterwards.
        GivenError: it feeds one of the signals already, or holds them in a way that nothing can be put beside.
    """
    vetted(text, file)
    work = _Work(text, file)
    for one in addition.listener.fields:
        work.make_room(one.signal, addition.listener, instead=instead)
    work.add_listener(addition.listener, addition.said)
    there = {entry.get("name") for entry in work.table.get("signal", [])}
    for signal in addition.signals:
        if signal.name not in there:
            work.append("signal", signal_table(signal))
    if addition.ignition is not None:
        work.add_ignition(addition.ignition, instead=instead)
    known = work.table.get("buttons", {})
    work.add_buttons({name: use for name, use in addition.buttons.items() if name not in known})
    return vetted(work.text, file)


def with_lines(text: str, lines: Sequence[str], file: str) -> str:
    """Return a description's text with whole tables at its end; their bytes count from 0.

    Raises:
        ConfigError: the file has mistakes, before or afterwards.
        GivenError: it counts bytes from 1, or has tables of these names already.
    """
    vetted(text, file)
    work = _Work(text, file)
    if work.counts_from:
        raise GivenError(
            f"{file} counts bytes from 1, and these lines from 0; put them in by hand:\n" + "\n".join(lines)
        )
    added, _ = parse_toml("\n".join(lines), "what is added")
    expected = deepcopy(work.table)
    for section, there in added.items():
        before = expected.get(section)
        if isinstance(there, dict) and isinstance(before, dict) and (twice := before.keys() & there.keys()):
            raise GivenError(f"{file} has [{section}.{min(twice)}] already; take it out or give it another name")
        expected[section] = (
            there if before is None else [*before, *there] if isinstance(there, list) else before | there
        )
    work.put(len(work.lines), ["", *lines], expected)
    return vetted(work.text, file)


def vetted(text: str, file: str) -> str:
    """Return a description's text if it has no mistakes; raises `ConfigError` with all of them."""
    table, source = parse_toml(text, file)
    variants = table.get("variant")
    make_car(
        table, source, Path(file).parent, variant=next(iter(variants), None) if isinstance(variants, dict) else None
    )
    return text


def block(header: str, keys: Table) -> list[str]:
    """Return the lines of a table; of `fields` each has its line."""
    lines = [header]
    for key, value in keys.items():
        if key == "fields":
            lines += ["fields = [", *(f"  {value_text(one)}," for one in value), "]"]
        else:
            lines.append(f"{key_text(key)} = {value_text(value)}")
    return lines


def value_text(value: Any) -> str:
    """Write a value as TOML, on one line."""
    match value:
        case bool():
            return "true" if value else "false"
        case int() | float():
            return repr(value)
        case str():
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
        case Mapping():
            return "{ " + ", ".join(f"{key_text(key)} = {value_text(one)}" for key, one in value.items()) + " }"
        case Sequence():
            return "[" + ", ".join(map(value_text, value)) + "]"
    raise TypeError(f"{value!r} cannot be written as TOML")


def key_text(key: str) -> str:
    """Write a key as TOML, in quotes where it needs them."""
    return key if _BARE.fullmatch(key) else json.dumps(key)


class _Work:
    """A file's lines while lines are put between them; what is known of them is renewed after each step."""

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self.end = "\r" if "\r\n" in text else ""
        self.lines = text.split("\n")
        self.table, self.source = parse_toml(text, file)
        self.shape = Shape(self.lines)
        self.counts_from = 1 if self.table.get("counting") == "from 1" else 0

    @property
    def text(self) -> str:
        """All of it, with the line ends that it had."""
        return "\n".join(self.lines)

    def put(self, at: int, lines: Sequence[str], expected: Table) -> None:
        """Put lines before the one with this number, counted from 0."""
        added = [line + self.end for line in lines]
        if at >= len(self.lines):  # the last line has no line feed
            self.lines[-1:] = [self.lines[-1] + self.end] if self.lines[-1] else []
            self._become([*self.lines, *added, ""], expected, lines)
        else:
            self._become([*self.lines[:at], *added, *self.lines[at:]], expected, lines)

    def _become(self, lines: list[str], expected: Table, meant: Sequence[str]) -> None:
        """Take these lines if they say what is meant: files are written in more ways than are known here."""
        try:
            table, source = parse_toml("\n".join(lines), self.file)
        except ConfigError:
            table = None
        if table != expected:
            raise GivenError(
                f"{self.file} is written in a way that this cannot be put into without changing what is there; do it "
                "by hand:\n" + "\n".join(meant)
            )
        self.lines, self.table, self.source, self.shape = lines, table, source, Shape(lines)

    def make_room(self, signal: str, listener: BroadcastListener, *, instead: bool) -> None:
        """Have the fields that feed a signal give way, or refuse where nobody said so."""
        for name, variant in self.table.get("variant", {}).items():
            if any(_feeds(entry, signal) for entry in variant.get("broadcast", [])):
                raise GivenError(
                    f"{self.file}: the variant {name} says itself where {signal} is read, and would go on so; change "
                    "that by hand, or give this one another name"
                )
        for number, entry in enumerate(self.table.get("broadcast", [])):
            if places := _feeds(entry, signal):
                where = f"{entry.get('bus')} {entry.get('id')}"
                if not instead:
                    raise GivenError(
                        f"{self.file}: {signal} is read from {where} already; say --instead to have this one in its "
                        "place, or give this one another name"
                    )
                self._give_way(number, places[-1], signal, where, stays=_same_frame(entry, listener))
                return self.make_room(signal, listener, instead=instead)
        return None

    def _give_way(self, number: int, place: int, signal: str, where: str, *, stays: bool) -> None:
        """Have a field give way, and with the last one its entry; it `stays` for the new one, with its counter."""
        fields = self.table["broadcast"][number]["fields"]
        entries = self.shape.entries("broadcast")
        found = self.shape.fields(entries[number]) if len(entries) == len(self.table["broadcast"]) else None
        if len(fields) == 1 and not (stays and found is not None and len(found.items) == 1):
            return self._silence("broadcast", number)
        if found is None or len(found.items) != len(fields):
            raise GivenError(
                f"{self.file}: {signal} of {where} shares its line with others; take it out there by hand, then say "
                "this again"
            )
        expected = deepcopy(self.table)
        del expected["broadcast"][number]["fields"][place]
        return self._become(self._silent(found.items[place]), expected, [f"(without {signal} of {where})"])

    def _silence(self, section: str, number: int) -> None:
        """Have a whole entry give way."""
        entries, expected = self.shape.entries(section), deepcopy(self.table)
        rows = entries[number] if len(entries) == len(expected[section]) else range(0)
        del expected[section][number]
        if not expected[section]:
            del expected[section]
        self._become(self._silent(rows), expected, [f"(without [[{section}]] number {number + 1})"])

    def _silent(self, rows: range) -> list[str]:
        return [f"# gave way: {line}" if at in rows and line.strip() else line for at, line in enumerate(self.lines)]

    def add_listener(self, listener: BroadcastListener, said: Said) -> None:
        """Add fields to the entry of their frame where each of its fields has a line, else in an entry of their own."""
        fields = [field_table(one, self.counts_from, said) for one in listener.fields]
        for rows, (number, entry) in zip(
            self.shape.entries("broadcast"), enumerate(self.table.get("broadcast", [])), strict=False
        ):
            found = self.shape.fields(rows) if _same_frame(entry, listener) else None
            if found is not None and len(found.items) >= min(1, len(entry["fields"])):
                expected = deepcopy(self.table)
                expected["broadcast"][number]["fields"] += fields
                before = self._behind(found.items[-1]) if found.items else "  "
                return self.put(found.end, [f"{before}{value_text(one)}," for one in fields], expected)
        table = listener_table(listener, self.counts_from) | {"fields": fields}
        self.append("broadcast", table)
        return None

    def _behind(self, item: range) -> str:
        """End an item with a comma, so that another one can come behind it; returns how it is indented."""
        at = item[-1]
        bare = self.shape.bare[at].rstrip()
        if not bare.endswith(","):
            self.lines[at] = f"{self.lines[at][: len(bare)]},{self.lines[at][len(bare) :]}"
        first = self.lines[item[0]]
        return first[: len(first) - len(first.lstrip())]

    def append(self, section: str, table: Table) -> None:
        """Put an entry behind the last one of its kind, or at the end."""
        expected = deepcopy(self.table)
        expected[section] = [*expected.get(section, []), table]
        entries = self.shape.entries(section)
        at = entries[-1].stop if entries else len(self.lines)
        self.put(at, ["", *block(f"[[{section}]]", table)], expected)

    def add_ignition(self, table: Table, *, instead: bool) -> None:
        """Say what tells of the ignition; what the file says of the same signal gives way, or is refused."""
        for number, entry in enumerate(self.table.get("ignition", [])):
            if entry == table:
                return None
            if entry.get("signal") == table["signal"]:
                if not instead:
                    raise GivenError(
                        f"{self.file}: an [[ignition]] says what {table['signal']} tells already; say --instead to "
                        "have this one in its place"
                    )
                self._silence("ignition", number)
                return self.add_ignition(table, instead=instead)
        return self.append("ignition", table)

    def add_buttons(self, buttons: Mapping[str, str]) -> None:
        """Say what buttons do."""
        if not buttons:
            return
        expected = deepcopy(self.table)
        expected["buttons"] = {**expected.get("buttons", {}), **buttons}
        lines = [f"{key_text(name)} = {value_text(use)}" for name, use in buttons.items()]
        header = self.shape.header("buttons")
        if header is None:
            self.put(len(self.lines), ["", "[buttons]", *lines], expected)
        else:
            self.put(header + 1, lines, expected)


def _feeds(entry: Mapping[str, Any], signal: str) -> list[int]:
    """Return which fields of an entry feed a signal."""
    return [at for at, one in enumerate(entry.get("fields", [])) if one.get("signal") == signal]


def _same_frame(entry: Mapping[str, Any], listener: BroadcastListener) -> bool:
    text = str(entry.get("id", "")).removeprefix("0x").removeprefix("0X")
    try:
        key = key_of(int(text, 16), bool(entry.get("extended", len(text) == 8)))
    except ValueError:
        return False
    return entry.get("bus") == listener.bus and key == key_of(listener.id, listener.extended)
