"""TOML text to tables, and the line of each key, which the standard library's reader does not tell."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from stat import S_ISDIR, S_ISREG
from typing import Any

from .mistakes import ConfigError, KeyPath, Mistake, Source, UnreadableError, nearest

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(
    r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=(.*)$"""
)
_NAME = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")
_AT = re.compile(r"^(.*?) \(at (?:line (\d+), column \d+|end of document)\)$", re.DOTALL)
_LARGEST_BYTES = 4_000_000


def read_toml(path: Path) -> tuple[dict[str, Any], Source]:
    """Read a TOML file.

    Args:
        path: the file.

    Returns:
        The tables, and where their keys stand.

    Raises:
        ConfigError: the file cannot be read, is not text, or is not TOML.
    """
    raw = _bytes(path)
    try:
        text = raw.decode("utf-8-sig")  # editors on other systems put a mark in front
    except UnicodeDecodeError as exc:
        line = raw[: exc.start].count(b"\n") + 1
        found = f"the byte {raw[exc.start]:02X}"
        raise ConfigError([Mistake(str(path), line, "", found, "text in UTF-8")]) from exc
    return parse_toml(text, str(path))


def _bytes(path: Path) -> bytes:
    try:
        found = path.stat()
        if found.st_size > _LARGEST_BYTES:
            raise UnreadableError(str(path), "it is over 4 MB", "such a file has some kilobytes of text")
        if not (S_ISREG(found.st_mode) or S_ISDIR(found.st_mode)):  # reading a pipe would wait for ever
            raise UnreadableError(str(path), "it is a device or a pipe", "name a file")
        return path.read_bytes()
    except (OSError, ValueError) as exc:  # a ValueError is a name with a zero byte
        reason = getattr(exc, "strerror", None) or str(exc)
        near = nearest(path.name, _beside(path))
        step = f"did you mean {path.with_name(near)}?" if near and near != path.name else "name a file that can be read"
        raise UnreadableError(str(path), reason, step) from exc


def _beside(path: Path) -> list[str]:
    """Names of the files in a file's folder, none if that cannot be read either."""
    try:
        return [other.name for other in path.parent.iterdir() if other.suffix == ".toml"]
    except (OSError, ValueError):
        return []


def parse_toml(text: str, file: str) -> tuple[dict[str, Any], Source]:
    """Parse TOML text; see `read_toml`. `file` is how it is named in mistakes."""
    try:
        table = tomllib.loads(text)
    except RecursionError as exc:
        raise ConfigError([Mistake(file, None, "", "lists in lists in lists", "a few levels")]) from exc
    except ValueError as exc:  # TOMLDecodeError is one, and so is a number of thousands of digits
        match = _AT.match(str(exc))
        problem = match[1] if match else str(exc)
        line = int(match[2]) if match and match[2] else text.count("\n") + 1
        twice = _twice(text, line) if problem.startswith(_TWICE) else None
        mistake = twice or (f"no TOML: {problem[:80].lower()}", _EXPLAINED)
        raise ConfigError([Mistake(file, line, "", *mistake)]) from exc
    return table, Source(file, lines_of(text))


_TWICE = ("Cannot overwrite", "Cannot declare")
_EXPLAINED = 'lines like [table], name = 1.5, name = "text", name = true, name = ["a", "b"]'


def _twice(text: str, number: int) -> tuple[str, str] | None:
    """Say what stands in a line though its name is taken, and where it was taken; None if that is not seen."""
    lines = text.splitlines()
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


def lines_of(text: str) -> dict[KeyPath, int]:
    """Find the line of each key. A guess by the look of the lines: right for what people write, never a failure."""
    scan = _Scan()
    for number, line in enumerate(text.splitlines(), start=1):
        scan.line(line, number)
    return scan.lines


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
