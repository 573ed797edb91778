"""Writing into a description that a person keeps: lines are put between theirs, and none of theirs is written anew.

Text in, text out. A line that gives way to another one stays as a remark.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..bus.frames import key_of
from ..contract.errors import GivenError
from ..contract.layout import BroadcastListener
from ..contract.signals import Signal
from .cars import make_car
from .spelling import Said, Table, field_table, listener_table, signal_table
from .toml import parse_toml

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_HEADER = re.compile(r"\s*\[")


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
    work = _Work(text, file)
    for one in addition.listener.fields:
        work.make_room(one.signal, instead=instead)
    work.add_listener(addition.listener, addition.said)
    there = {entry.get("name") for entry in work.table.get("signal", [])}
    for signal in addition.signals:
        if signal.name not in there:
            work.append("signal", block("[[signal]]", signal_table(signal)))
    if addition.ignition is not None:
        work.append("ignition", block("[[ignition]]", addition.ignition))
    known = work.table.get("buttons", {})
    work.add_buttons({name: use for name, use in addition.buttons.items() if name not in known})
    return vetted(work.text, file)


def vetted(text: str, file: str) -> str:
    """Return a description's text if it has no mistakes; raises `ConfigError` with all of them."""
    table, source = parse_toml(text, file)
    variants = table.get("variant")
    make_car(table, source, Path(file).parent, variant=next(iter(variants)) if isinstance(variants, dict) else None)
    return text


def block(header: str, keys: Table) -> list[str]:
    """Return the lines of a table; of `fields` each has its line."""
    lines = [header]
    for key, value in keys.items():
        if key == "fields":
            lines += ["fields = [", *(f"  {value_text(one)}," for one in value), "]"]
        else:
            lines.append(f"{_key_text(key)} = {value_text(value)}")
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
            return "{ " + ", ".join(f"{_key_text(key)} = {value_text(one)}" for key, one in value.items()) + " }"
        case Sequence():
            return "[" + ", ".join(map(value_text, value)) + "]"
    raise TypeError(f"{value!r} cannot be written as TOML")


def _key_text(key: str) -> str:
    return key if _BARE.fullmatch(key) else json.dumps(key)


class _Work:
    """A file's lines while lines are put between them; what is known of them is renewed after each step."""

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self._read(text)

    def _read(self, text: str) -> None:
        self.lines = text.splitlines()
        self.text = "\n".join(self.lines) + "\n"
        self.table, self.source = parse_toml(self.text, self.file)
        self.counts_from = 1 if self.table.get("counting") == "from 1" else 0

    def _put(self, at: int, lines: Sequence[str]) -> None:
        """Put lines before the one with this number, counted from 0."""
        self._read("\n".join([*self.lines[:at], *lines, *self.lines[at:]]))

    def make_room(self, signal: str, *, instead: bool) -> None:
        """Have the fields that feed a signal give way, or refuse where nobody said so."""
        for number, entry in enumerate(self.table.get("broadcast", [])):
            fields = entry.get("fields", [])
            for place in [at for at, one in enumerate(fields) if one.get("signal") == signal][::-1]:
                where = f"{entry.get('bus')} {entry.get('id')}"
                if not instead:
                    raise GivenError(
                        f"{self.file}: {signal} is read from {where} already; say --instead to have this one in its "
                        "place, or give this one another name"
                    )
                alone = len(fields) == 1
                self._silence(self._block(number) if alone else self._row(number, place, signal, where))
                return self.make_room(signal, instead=instead)
        return None

    def _silence(self, rows: range) -> None:
        kept = [f"# gave way: {line}" if at in rows and line.strip() else line for at, line in enumerate(self.lines)]
        self._read("\n".join(kept))

    def _row(self, number: int, place: int, signal: str, where: str) -> range:
        line = self.source.line(("broadcast", number, "fields", place))
        text = self.lines[line - 1].strip() if line else ""
        if line is None or not (text.startswith("{") and text.rstrip(",").endswith("}") and f'"{signal}"' in text):
            raise GivenError(
                f"{self.file}: {signal} of {where} shares its line with others; take it out there by hand, then say "
                "this again"
            )
        return range(line - 1, line)

    def _block(self, number: int) -> range:
        return range(self._header("broadcast", number), self._end("broadcast", number))

    def _header(self, section: str, number: int) -> int:
        """Line of an entry's header, counted from 0."""
        keys = self.table[section][number]
        first = min(self.source.line((section, number, key)) or 1 for key in keys)
        return next(at for at in range(first - 1, -1, -1) if _HEADER.match(self.lines[at]))

    def _end(self, section: str, number: int) -> int:
        """Line behind the last one of an entry that is neither empty nor a remark."""
        begin = self._header(section, number) + 1
        inside = range(begin, len(self.lines))
        depth, last = 0, begin
        for at in inside:
            bare = _bare(self.lines[at])
            if depth == 0 and _HEADER.match(bare):
                break
            depth += bare.count("[") - bare.count("]")
            last = at + 1 if bare.strip() else last
        return last

    def add_listener(self, listener: BroadcastListener, said: Said) -> None:
        """Add fields to the entry of their frame where each of its fields has a line, else in an entry of their own."""
        fields = [field_table(one, self.counts_from, said) for one in listener.fields]
        for number, entry in enumerate(self.table.get("broadcast", [])):
            if not _same_frame(entry, listener):
                continue
            end = self._end("broadcast", number)
            begin = self.source.line(("broadcast", number, "fields"))
            closes = next((at for at in range(begin or end, end) if self.lines[at].strip() == "]"), None)
            if begin and closes and _bare(self.lines[begin - 1]).rstrip().endswith("["):
                before, cut = self.lines[closes - 1], len(_bare(self.lines[closes - 1]).rstrip())
                if _bare(before)[:cut].endswith("}"):
                    self.lines[closes - 1] = f"{before[:cut]},{before[cut:]}"
                return self._put(closes, [f"  {value_text(one)}," for one in fields])
        self.append(
            "broadcast", block("[[broadcast]]", listener_table(listener, self.counts_from) | {"fields": fields})
        )
        return None

    def append(self, section: str, lines: Sequence[str]) -> None:
        """Put an entry behind the last one of its kind, or at the end."""
        entries = self.table.get(section, [])
        at = self._end(section, len(entries) - 1) if entries else len(self.lines)
        self._put(at, ["", *lines])

    def add_buttons(self, buttons: Mapping[str, str]) -> None:
        """Say what buttons do."""
        if not buttons:
            return
        lines = [f"{_key_text(name)} = {value_text(use)}" for name, use in buttons.items()]
        header = next((at for at, line in enumerate(self.lines) if _bare(line).strip() == "[buttons]"), None)
        self._put(len(self.lines), ["", "[buttons]", *lines]) if header is None else self._put(header + 1, lines)


def _bare(line: str) -> str:
    """A line without its remark; what stands in quotes is made of harmless letters, and as long as before."""
    masked = re.sub(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'', lambda text: "x" * len(text[0]), line)
    return masked.partition("#")[0]


def _same_frame(entry: Mapping[str, Any], listener: BroadcastListener) -> bool:
    text = str(entry.get("id", "")).removeprefix("0x").removeprefix("0X")
    try:
        key = key_of(int(text, 16), bool(entry.get("extended", len(text) == 8)))
    except ValueError:
        return False
    return entry.get("bus") == listener.bus and key == key_of(listener.id, listener.extended)
