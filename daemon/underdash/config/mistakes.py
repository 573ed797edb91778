"""Mistakes in files that people write: collected, so that all of a file are reported at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from ..contract.errors import GivenError

KeyPath = tuple[str | int, ...]
"""Where in a file: names of tables and keys, and positions in lists, counted from 0."""

MISSING = object()
"""Stands for what is not there at all."""

_LONGEST = 60


class Words(str):
    """What was found, in words of ours instead of the file's: shown without quotes."""

    __slots__ = ()


class Mistake(NamedTuple):
    """One thing that is wrong.

    Args:
        file: which file.
        line: counted from 1, None where it is not known.
        key: dotted key; "#2" is the second of a list.
        found: what is there, as text.
        allowed: what may be there.
        hint: the nearest right spelling, or "".
    """

    file: str
    line: int | None
    key: str
    found: str
    allowed: str
    hint: str = ""

    def __str__(self) -> str:
        line = f"line {self.line}" if self.line else ""
        place = ", ".join(part for part in (line, self.key) if part)
        hint = f"; did you mean {self.hint!r}?" if self.hint else ""
        return f"{place}{': ' if place else ''}found {self.found}, allowed: {self.allowed}{hint}"


class ConfigError(GivenError):
    """A file that cannot be used; the message lists all its mistakes."""

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__(_listing(self.mistakes))


class UnreadableError(ConfigError):
    """A file that cannot even be read.

    Args:
        file: which file.
        reason: why not.
        step: what to do about it.
    """

    def __init__(self, file: str, reason: str, step: str) -> None:
        super().__init__([Mistake(file, None, "", reason, step)])
        self.args = (f"{file} cannot be read: {reason}; {step}",)


@dataclass(frozen=True, slots=True)
class Source:
    """The file a table was read from, and its text; both are "" if it was read from none."""

    file: str = ""
    text: str = field(default="", repr=False)

    def line(self, path: KeyPath) -> int | None:
        """Return the line of a key, or of the nearest thing around it."""
        from .lines import lines_of  # only somebody who made a mistake waits for it

        known = lines_of(self.text)
        while path and path not in known:
            path = path[:-1]
        return known.get(path)

    def place(self, path: KeyPath) -> str:
        """Say where a key is, for a sentence about another one."""
        line = self.line(path)
        return key_text(path) + (f" in line {line}" if line else "")


class Mistakes:
    """Collects the mistakes of one file."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.found: list[Mistake] = []

    def add(self, path: KeyPath, found: object, allowed: str, near: Iterable[str] = ()) -> None:
        """Add one.

        Args:
            path: where.
            found: the value that is there, or `MISSING`.
            allowed: what may be there, as a sentence fragment.
            near: right spellings, to find the nearest among.
        """
        hint = nearest(found, near) if isinstance(found, str) else ""
        self.found.append(
            Mistake(self.source.file, self.source.line(path), key_text(path), value_text(found), allowed, hint)
        )

    def add_signal(self, path: KeyPath, name: str, signals: Iterable[str]) -> None:
        """Add the mistake of a signal's name that nobody declared; `signals` are those that are."""
        from ..signals.searching import nearest as nearest_signal  # only somebody who made a mistake waits for it

        near = nearest_signal(name, signals)
        allowed = (
            "a signal of the catalogue or of an enabled plug-in, which `underdash signals` lists, or one that a "
            "[[signal]] declares"
        )
        self.add(path, name, allowed, [near] if near else [])

    def raise_any(self) -> None:
        """Raise what was collected, in the order of the file.

        Raises:
            ConfigError: there is at least one mistake.
        """
        if self.found:
            raise ConfigError(sorted(self.found, key=lambda m: (m.line or 0, m.key)))


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the known word that looks most like this one, or "" if none is near."""
    from difflib import get_close_matches  # only somebody who made a mistake waits for it

    by_lower = {name.lower(): name for name in known}
    close = get_close_matches(word.lower(), by_lower, n=1, cutoff=0.6)
    return by_lower[close[0]] if close else ""


def key_text(path: KeyPath) -> str:
    """Write a path the way a person finds it: ``panel.main.deck#2`` is the second of that list."""
    text = ""
    for part in path:
        text += f"#{part + 1}" if isinstance(part, int) else f".{part}" if text else part
    return text


def value_text(value: object) -> str:
    """Write a value the way it stands in the file, cut short."""
    if value is MISSING:
        return "nothing"
    if isinstance(value, Words):
        return str(value)
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else f"a list of {len(value)}"
    try:
        text = repr(value) if isinstance(value, str | int | float) else str(value)
        text = text.lower() if isinstance(value, bool) else text
    except ValueError:  # a number with more digits than Python writes
        return "a very large number"
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."


def _listing(mistakes: tuple[Mistake, ...]) -> str:
    lines = []
    for file in dict.fromkeys(m.file for m in mistakes):
        own = [m for m in mistakes if m.file == file]
        count = f"{len(own)} mistake{'s' if len(own) > 1 else ''}"
        lines.append(f"{file}: {count}" if file else count)
        lines += [f"  {mistake}" for mistake in own]
    return "\n".join(lines)
