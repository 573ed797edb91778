"""Reading DBC text with cantools message by message, so that what it refuses costs one line and not the file."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from ..contract.errors import UnderdashError
from .dbc_lines import Statement

_SHARED = ("BA_DEF_", "BA_DEF_DEF_", "VAL_TABLE_")
LARGEST_BYTES = 1785
"""Of a message in several frames (SAE J1939-21, transport protocol)."""
MOST_VALUES = 65_536
_LENGTH = re.compile(r"^\s*BO_\s+\d+\s+\w+\s*:\s*(\d+)")
_RANGES = re.compile(r"(\d+)\s*-\s*(\d+)")
EXTENDED = 1 << 31
"""In a DBC file this bit of an id says that it has 29 bits."""
_PLACE = re.compile(r"Invalid syntax at line (\d+), column (\d+).*?>>!<<(.*)\"$", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a line.

    Attributes:
        line: counted from 1; 0 is the file as a whole.
        what: a sentence.
        lost: True if what the line says was left out; False if it was taken and only needs to be known.
    """

    line: int
    what: str
    lost: bool = True

    def __str__(self) -> str:
        place = f"line {self.line}: " if self.line else ""
        return f"{place}{self.what}{' (left out)' if self.lost else ''}"


@dataclass(frozen=True, slots=True)
class ParsedMessage:
    """A message as cantools gives it, and the statements it was read from, its own first."""

    message: Any
    statements: tuple[Statement, ...]


@dataclass(slots=True)
class Parsed:
    """What was read, and what is wrong."""

    messages: list[ParsedMessage] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def lose(self, statement: Statement, what: str) -> None:
        """Note that a statement was left out, with all of its lines."""
        for line in range(statement.line, statement.line + statement.text.count("\n") + 1):
            self.problems.append(Problem(line, what))


def parse(text: str, found: Sequence[Statement]) -> Parsed:
    """Read a file.

    Args:
        text: the whole file.
        found: its statements.

    Raises:
        UnderdashError: cantools is not installed.
    """
    result = Parsed()
    text, found = _without_endless(text, found, result)
    with _quiet():
        refusal = _refusal(text, strict=True)
        if refusal is not None:
            line, reason = refusal
            result.problems.append(Problem(line, f"the file as a whole is refused: {reason}", lost=False))
        shared = _shared(found, result)
        known = _by_id(_load(text).messages) if refusal is None else {}
        for block in _blocks(found, result):
            whole = known.get(block[0].owner)
            if whole is None:
                _parse_block(block, shared, result)
            else:
                result.messages.append(ParsedMessage(whole, tuple(block)))
    return result


def _without_endless(text: str, found: Sequence[Statement], result: Parsed) -> tuple[str, list[Statement]]:
    """Leave out what the parser would work at for ever: it goes through each bit and each value one by one."""
    lines, kept = text.splitlines(), []
    for statement in found:
        why = _endless(statement)
        if why is None:
            kept.append(statement)
            continue
        result.lose(statement, why)
        for line in range(statement.line - 1, statement.line + statement.text.count("\n")):
            lines[line] = ""
    return (text if len(kept) == len(found) else "\n".join(lines) + "\n"), kept


def _endless(statement: Statement) -> str | None:
    end = (statement.start or 0) + (statement.length or 0)
    if statement.keyword == "SG_" and end > 8 * LARGEST_BYTES:
        return f"signal {statement.signal}: it lies beyond the {LARGEST_BYTES} bytes of the longest message"
    if statement.keyword == "BO_" and (length := _LENGTH.match(statement.text)) and int(length[1]) > LARGEST_BYTES:
        return f"its length is {length[1]} bytes; {LARGEST_BYTES} are the longest there are"
    if statement.keyword == "SG_MUL_VAL_":
        for low, high in _RANGES.findall(statement.text):
            if int(high) - int(low) > MOST_VALUES:
                return f"{low} to {high} are more than {MOST_VALUES} values of a multiplexer"
    return None


def _by_id(messages: Sequence[Any]) -> dict[int | None, Any]:
    """Return the messages of a file that is whole, by their id as the file spells it; without those that are twice."""
    found: dict[int | None, Any] = {}
    twice = set()
    for message in messages:
        spelt = message.frame_id | (EXTENDED if message.is_extended_frame else 0)
        if spelt in found:
            twice.add(spelt)
        found[spelt] = message
    return {spelt: message for spelt, message in found.items() if spelt not in twice}


def _shared(found: Sequence[Statement], result: Parsed) -> str:
    """The definitions that statements of messages rest on; what belongs to no message is only looked at for syntax."""
    text = ""
    for statement in found:
        if statement.owner is not None or statement.keyword in ("BO_", "SG_"):
            continue
        refusal = _refusal(text + statement.text + "\n")
        if statement.keyword in _SHARED and refusal is None:
            text += statement.text + "\n"
        elif refusal is not None and (refusal[0] or statement.keyword in _SHARED):
            result.lose(statement, refusal[1])
    return text


def _blocks(found: Sequence[Statement], result: Parsed) -> list[list[Statement]]:
    """A message's own line, its signals' and what other statements say about it."""
    blocks: list[list[Statement]] = []
    for statement in found:
        if statement.keyword == "BO_":
            blocks.append([statement])
        elif statement.keyword == "SG_":
            if blocks:
                blocks[-1].append(statement)
            else:
                result.lose(statement, "a signal before any message")
    for statement in found:
        if statement.owner is not None and statement.keyword not in ("BO_", "SG_"):
            _attach(statement, blocks, result)
    return blocks


def _attach(statement: Statement, blocks: list[list[Statement]], result: Parsed) -> None:
    about = [block for block in blocks if block[0].owner == statement.owner]
    if not about:
        result.lose(statement, f"there is no message {statement.owner}")
    elif statement.signal is None or statement.keyword == "SIG_GROUP_":
        about[0].append(statement)
    else:
        named = [block for block in about if any(s.signal == statement.signal for s in block if s.keyword == "SG_")]
        if named:
            named[0].append(statement)
        else:
            result.lose(statement, f"message {statement.owner} has no signal {statement.signal}")


def _parse_block(block: list[Statement], shared: str, result: Parsed) -> None:
    refusal = _refusal(shared + _joined(block))
    if refusal is not None:
        block = _sound(block, shared, refusal[1], result)
    if not block:
        return
    loaded = _load(shared + _joined(block)).messages
    if loaded:
        result.messages.append(ParsedMessage(loaded[0], tuple(block)))
    else:
        for statement in block:
            result.lose(statement, "the parser takes this message for a list of unused signals")


def _sound(block: list[Statement], shared: str, reason: str, result: Parsed) -> list[Statement]:
    """Put a message together statement by statement and leave out what makes it unreadable."""
    head = _refusal(shared + block[0].text + "\n")
    if head is not None:
        result.lose(block[0], head[1])
        for statement in block[1:]:
            result.lose(statement, f"its message in line {block[0].line} cannot be read")
        return []
    kept = block[:1]
    for statement in block[1:]:
        refusal = _refusal(shared + _joined([*kept, statement]))
        if refusal is None:
            kept.append(statement)
        else:
            result.lose(statement, refusal[1])
    if len(kept) == len(block):
        # each line is sound by itself and the sum is not; no file seen does this, but nothing may be lost silently
        result.lose(block[0], reason)
    return kept


def _joined(block: Sequence[Statement]) -> str:
    return "".join(statement.text + "\n" for statement in block)


# --- cantools ---------------------------------------------------------------------------------------------------


def _cantools() -> Any:
    try:
        from cantools import database
    except ImportError as exc:
        raise UnderdashError(
            "reading a DBC file needs the package cantools, which is not installed: pip install 'underdash[dbc]'"
        ) from exc
    return database


def _load(text: str) -> Any:
    # strict would refuse signals that overlap or leave the frame; those are told by `dbc`, with their lines
    return _cantools().load_string(text, "dbc", strict=False)


def _refusal(text: str, *, strict: bool = False) -> tuple[int, str] | None:
    """Return (line or 0, reason) if cantools refuses a text, None if it takes it."""
    database = _cantools()
    try:
        database.load_string(text, "dbc", strict=strict)
    except database.UnsupportedDatabaseFormatError as exc:
        reason = str(getattr(exc, "e_dbc", None) or exc)
        place = _PLACE.match(reason)
        if place is not None:
            line, column, rest = place.groups()
            return int(line), f"invalid syntax from column {column} on, at {rest.strip()[:24]!r}"
        return 0, " ".join(reason.split())
    return None


@contextmanager
def _quiet() -> Iterator[None]:
    """cantools logs what is reported here with line numbers."""
    logger = logging.getLogger("cantools.database.can.database")
    logger.disabled, before = True, logger.disabled
    try:
        yield
    finally:
        logger.disabled = before
