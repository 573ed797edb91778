"""TOML text to tables."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from stat import S_ISDIR, S_ISREG
from typing import Any

from .mistakes import ConfigError, Mistake, Source, UnreadableError, nearest

_AT = r"(?s)^(.*?) \(at (?:line (\d+), column \d+|end of document)\)$"
_LARGEST_BYTES = 4_000_000
_TWICE = ("Cannot overwrite", "Cannot declare")
_EXPLAINED = 'lines like [table], name = 1.5, name = "text", name = true, name = ["a", "b"]'


def read_toml(path: Path) -> tuple[dict[str, Any], Source]:
    """Read a TOML file.

    Args:
        path: the file.

    Returns:
        The tables, and the source, which knows where their keys stand.

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
        from .lines import said_twice

        match = re.match(_AT, str(exc))
        problem = match[1] if match else str(exc)
        line = int(match[2]) if match and match[2] else text.count("\n") + 1
        twice = said_twice(text, line) if problem.startswith(_TWICE) else None
        mistake = twice or (f"no TOML: {problem[:80].lower()}", _EXPLAINED)
        raise ConfigError([Mistake(file, line, "", *mistake)]) from exc
    return table, Source(file, text)
