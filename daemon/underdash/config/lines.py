"""Which line of a TOML text each key stands in, which the standard library's reader does not tell."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from .mistakes import KeyPath

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(
    r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=(.*)$"""
)
_NAME = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")


@lru_cache(maxsize=4)
def lines_of(text: str) -> Mapping[KeyPath, int]:
    """Find the line of each key, counted from 1. A guess by its look: right for what people write, never a failure."""
    scan = _Scan()
    for number, line in enumerate(text.split("\n"), start=1):
        scan.line(line, number)
    return scan.lines


def said_twice(text: str, number: int) -> tuple[str, str] | None:
    """Say what stands in a line though its name is taken, and where it was taken; None if that is not seen."""
    lines = text.split("\n")  # as TOML does; a person may use other separators in a remark
    scan = _Scan()
    for place, line in enumerate(lines[: number - 1], start=1):
        scan.line(line, place)
    last = lines[number - 1] if number <= len(lines) else ""
    path: KeyPath
    if header := _HEADER.match(last):
        what, path = last.partition("#")[0].strip(), tuple(_names(header[2]))
    elif key := _KEY.match(last):
        what, path = key[1].strip(), scan.table + tuple(_names(key[1]))
    else:
        return None
    first = next((scan.lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in scan.lines), None)
    if first is None:
        return None
    return f"{what}, though line {first} has that name already", "each name once: a value, one [table], or [[entries]]"


class _Scan:
    """Walks over the lines of a file and remembers where it is."""

    def __init__(self) -> None:
        self.lines: dict[KeyPath, int] = {}
        self.table: KeyPath = ()
        self.counts: dict[KeyPath, int] = {}
        self.list: KeyPath | None = None
        self.items = 0
        self.quote = ""

    def line(self, text: str, number: int) -> None:
        if self.quote:
            if self.quote in text:
                self.quote = ""
        elif self.list is not None:
            self._item(text, number)
        elif header := _HEADER.match(text):
            self.table = self._resolve(_names(header[2]), header[1] == "[[", number)
            self.lines.setdefault(self.table, number)
        elif key := _KEY.match(text):
            self._key(self.table + tuple(_names(key[1])), key[2].strip(), number)

    def _key(self, path: KeyPath, value: str, number: int) -> None:
        for depth in range(len(self.table) + 1, len(path) + 1):
            self.lines.setdefault(path[:depth], number)
        for quote in ('"""', "'''"):
            if value.count(quote) == 1:
                self.quote = quote
        if value.startswith("[") and "]" not in value:
            self.list, self.items = path, 0

    def _item(self, text: str, number: int) -> None:
        text = text.strip()
        if text.startswith("]"):
            self.list = None
        elif self.list is not None and text and not text.startswith("#"):
            self.lines[(*self.list, self.items)] = number
            self.items += 1

    def _resolve(self, names: list[str], is_list: bool, number: int) -> KeyPath:
        path: KeyPath = ()
        for name in names[:-1]:
            path += (name,)
            if path in self.counts:
                path += (self.counts[path] - 1,)
        path += tuple(names[-1:])
        if is_list:
            self.counts[path] = self.counts.get(path, 0) + 1
            self.lines.setdefault(path, number)
            path += (self.counts[path] - 1,)
        return path


def _names(dotted: str) -> list[str]:
    return [name.strip("\"'") for name in _NAME.findall(dotted)]
