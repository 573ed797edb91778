"""Reading DBC text with cantools message by message, so that what it refuses costs one line and not the file."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any

from ..contract.errors import UnderdashError
from .dbc_lines import EXTENDED, Statement

_SHARED = ("BA_DEF_", "BA_DEF_DEF_", "VAL_TABLE_")
LARGEST_BYTES = 1785
"""Of a message in several frames (SAE J1939-21, transport protocol)."""
MOST_VALUES = 65_536
_LENGTH = re.compile(r"^\s*BO_\s+\d+\s+\w+\s*:\s*(\d+)")
_RANGES = re.compile(r"(\d+)\s*-\s*(\d+)")
MOST_SHORT, MOST_WIDE = 0x7FF, 0x1FFF_FFFF
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
    text, found = _widened(text, found, result)
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


def _widened(text: str, found: Sequence[Statement], result: Parsed) -> tuple[str, list[Statement]]:
    """Take ids that 11 bits cannot hold for ids of 29 bits, where the file forgot to say so."""
    wide = {one.owner for one in found if one.owner is not None and MOST_SHORT < one.owner <= MOST_WIDE}
    if not wide:
        return text, list(found)
    lines, changed = text.splitlines(), []
    for statement in found:
        if statement.owner not in wide:
            changed.append(statement)
            continue
        owner = (statement.owner or 0) | EXTENDED
        spelt = statement.text
        if statement.keyword != "SG_":
            spelt = re.sub(rf"\b0*{statement.owner}\b", str(owner), spelt, count=1)
            lines[statement.line - 1 : statement.line + spelt.count("\n")] = spelt.split("\n")
        if statement.keyword == "BO_":
            what = f"its id {statement.owner:X} takes 29 bits, which bit 31 of {statement.owner} should say"
            result.problems.append(Problem(statement.line, f"{what}; it is taken for one of 29 bits", lost=False))
        changed.append(replace(statement, owner=owner, text=spelt, widened=True))
    return "\n".join(lines) + "\n", changed


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
    rest = [one for one in found if one.owner is None and one.keyword not in ("BO_", "SG_")]
    kept = _accepted([one for one in rest if one.keyword in _SHARED], "", result, syntax=False)
    text = _joined(kept)
    _accepted([one for one in rest if one.keyword not in _SHARED], text, result, syntax=True)
    return text


def _accepted(some: Sequence[Statement], before: str, result: Parsed, *, syntax: bool) -> list[Statement]:
    """Return the statements that the parser takes after some text; the others are found by halves, and told.

    Args:
        some: in their order.
        before: the text, which it takes.
        result: told of what it refuses.
        syntax: only mistakes of syntax count, which have a line.
    """
    refusal = _refusal(before + _joined(some)) if some else None
    if refusal is None or (syntax and not refusal[0]):
        return list(some)
    if len(some) == 1:
        result.lose(some[0], refusal[1])
        return []
    middle = len(some) // 2
    first = _accepted(some[:middle], before, result, syntax=syntax)
    return first + _accepted(some[middle:], before + _joined(first), result, syntax=syntax)


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
        result.lose(statement, f"there is no message {statement.spelt}")
    elif statement.signal is None or statement.keyword == "SIG_GROUP_":
        about[0].append(statement)
    else:
        named = [block for block in about if any(s.signal == statement.signal for s in block if s.keyword == "SG_")]
        if named:
            named[0].append(statement)
        else:
            result.lose(statement, f"message {statement.spelt} has no signal {statement.signal}")


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
