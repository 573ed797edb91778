"""Where the tables of a TOML text stand, line by line, for those who put lines between a person's own.

For text that is TOML: strings, which may have several lines, and remarks are blanked out before anything is looked for.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

Path = tuple[str, ...]

_ASIDE = re.compile(
    r'"""(?:\\.|(?!""").)*"{3,5}' r"|'''(?:(?!''').)*'{3,5}" r'|"(?:\\.|[^"\\\n])*"' r"|'[^'\n]*'" r"|\#[^\n]*",
    re.DOTALL,
)
_VISIBLE = re.compile(r"[^\n]")
_FIELDS = re.compile(r"\s*fields\s*=\s*\[\s*")


@dataclass(frozen=True, slots=True)
class Header:
    """A line such as ``[bus.drive]``: which one, counted from 0, and whose it is."""

    line: int
    path: Path


@dataclass(frozen=True, slots=True)
class List:
    """A list with a line of its own for its end: the lines of its brackets, and those of each item of its own."""

    begin: int
    end: int
    items: tuple[range, ...]


class Shape:
    """Which lines of a text belong to what; `lines` are without their line feeds."""

    def __init__(self, lines: Sequence[str]) -> None:
        self.lines = lines
        self.bare = _ASIDE.sub(_blank, "\n".join(lines)).split("\n")
        self.headers = tuple(self._headers())

    def entries(self, section: str) -> list[range]:
        """Return the lines of each ``[[section]]``, with the tables below it, up to its last line with content."""
        starts = [at for at, one in enumerate(self.headers) if one.path == (section,)]
        return [range(self.headers[at].line, self._until(at, section)) for at in starts]

    def header(self, name: str) -> int | None:
        """Return the line of a table ``[name]``, None where it has none."""
        return next((one.line for one in self.headers if one.path == (name,)), None)

    def fields(self, entry: range) -> List | None:
        """Return the list `fields` of an entry; None where its brackets share their lines with something."""
        own = next((one.line for one in self.headers if one.line > entry.start), entry.stop)
        begin = next((at for at in range(entry.start, own) if _FIELDS.fullmatch(self.bare[at])), None)
        if begin is None:
            return None
        items: list[range] = []
        depth, since = 1, begin + 1
        for at in range(begin + 1, own):
            before, depth = depth, depth + _deeper(self.bare[at])
            if depth == 0:
                return List(begin, at, tuple(items)) if self.bare[at].strip() == "]" else None
            since = at if before == 1 else since
            if depth == 1 and self.bare[at].strip():
                items.append(range(since, at + 1))
        return None

    def _until(self, header: int, section: str) -> int:
        later = (one.line for one in self.headers[header + 1 :] if one.path[0] != section or len(one.path) == 1)
        end = next(later, len(self.bare))
        while not self.bare[end - 1].strip():
            end -= 1
        return end

    def _headers(self) -> Iterator[Header]:
        depth = 0
        for at, line in enumerate(self.bare):
            if depth == 0 and line.lstrip().startswith("["):
                yield Header(at, _path(self.lines[at]))
            else:
                depth += _deeper(line)


def _blank(aside: re.Match[str]) -> str:
    # a remark counts as nothing, a string as something without brackets; all keeps its place
    return _VISIBLE.sub(" " if aside[0].startswith("#") else "x", aside[0])


def _deeper(bare: str) -> int:
    return sum(map(bare.count, "[{")) - sum(map(bare.count, "]}"))


def _path(header: str) -> Path:
    path: Path = ()
    table = tomllib.loads(header.rstrip("\r"))
    while table:
        ((name, inner),) = table.items()
        path += (name,)
        table = inner[0] if isinstance(inner, list) else inner
    return path
