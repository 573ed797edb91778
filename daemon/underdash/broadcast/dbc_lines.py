"""The statements of a DBC file by line, so that a fault costs the line it is in and can be told by its number.

The format is a de-facto one; only as much of it is read here as tells whose statement a line is. What a statement
means is read by cantools.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

EXTENDED = 1 << 31
"""In a DBC file this bit of an id says that it has 29 bits."""
_STARTS = re.compile(
    r"^\s*(VERSION|NS_|BS_|BU_|BO_TX_BU_|BO_|SG_|SG_MUL_VAL_|SIG_VALTYPE_|SIG_GROUP_|VAL_TABLE_|VAL_|CM_|EV_|ENVVAR_DATA_"
    r"|BA_DEF_DEF_REL_|BA_DEF_REL_|BA_DEF_DEF_|BA_DEF_|BA_REL_|BA_|SGTYPE_|SIGTYPE_VALTYPE_|SIG_TYPE_REF_)(?![A-Za-z0-9_])"
)
_BARE_WORD = re.compile(r"^\s*[A-Z_]+\s*$")
_OWNER = re.compile(
    r'^\s*(?:(?:VAL_|SIG_VALTYPE_|SG_MUL_VAL_|SIG_GROUP_|BO_TX_BU_)|CM_\s+(?:BO_|SG_)|BA_\s+"[^"]*"\s+(?:BO_|SG_))'
    r"\s*(\d+)(?:\s+([A-Za-z_]\w*))?"
)
_MESSAGE = re.compile(r"^\s*BO_\s+(\d+)")
_SIGNAL = re.compile(r"^\s*SG_\s+([A-Za-z_]\w*)\s*(m\d+M?|M)?\s*:(?:\s*(\d+)\s*\|\s*(\d+))?")
_ONE_LINE = ("BO_", "SG_")
_QUOTED = ("CM_", "BA_", "VAL_", "VAL_TABLE_", "BA_DEF_", "BA_DEF_DEF_", "VERSION")


@dataclass(frozen=True, slots=True)
class Statement:
    """One statement.

    Attributes:
        line: number of its first line, counted from 1.
        text: its lines.
        keyword: "BO_", "SG_", "VAL_" ...; "" where the line starts with none.
        owner: id of the message it belongs to, bit 31 for 29-bit ids, None for no message.
        signal: name of the signal it is about, None for none.
        selected: the multiplexer mark of a signal's line ("M", "m3", "m3M"), "" for none.
        start, length: where a signal's line puts it, in bits, None where that cannot be read.
        widened: bit 31 of the owner is not in the file.
    """

    line: int
    text: str
    keyword: str
    owner: int | None = None
    signal: str | None = None
    selected: str = ""
    start: int | None = None
    length: int | None = None
    widened: bool = False

    @property
    def spelt(self) -> int | None:
        """The owner as the file spells it."""
        return self.owner & ~EXTENDED if self.widened and self.owner is not None else self.owner


def statements(text: str) -> list[Statement]:
    """Split a file into statements; every line that is not blank is in exactly one."""
    found: list[Statement] = []
    message: int | None = None
    lines = text.splitlines()
    at = 0
    while at < len(lines):
        if not lines[at].strip():
            at += 1
            continue
        start = _STARTS.match(lines[at])
        keyword = start.group(1) if start else ""
        end = _end(lines, at, keyword)
        statement = _read(at + 1, "\n".join(lines[at:end]), keyword, message)
        if keyword == "BO_":
            message = statement.owner
        found.append(statement)
        at = end
    return found


def _end(lines: list[str], at: int, keyword: str) -> int:
    """The line after a statement."""
    end = at + 1
    if keyword == "NS_":
        while end < len(lines) and _BARE_WORD.match(lines[end]):
            end += 1
    elif keyword and keyword not in _ONE_LINE:
        if keyword in _QUOTED and _open_quote(lines[at]):
            return _closing_line(lines, at)
        while end < len(lines) and lines[end].strip() and not _STARTS.match(lines[end]):
            end += 1
    return end


def _open_quote(line: str) -> bool:
    return line.replace('\\"', "").count('"') % 2 == 1


def _closing_line(lines: list[str], at: int) -> int:
    """The line after the one that closes a quote; where none does, the quote is a mistake of its own line."""
    for end in range(at + 1, len(lines)):
        if _open_quote(lines[end]):
            return end + 1
    return at + 1


def _read(line: int, text: str, keyword: str, message: int | None) -> Statement:
    if keyword == "BO_":
        found = _MESSAGE.match(text)
        return Statement(line, text, keyword, int(found.group(1)) if found else None)
    if keyword == "SG_":
        signal = _SIGNAL.match(text)
        if signal is None:
            return Statement(line, text, keyword, message)
        name, selected, start, length = signal.groups()
        place = (int(start), int(length)) if start else (None, None)
        return Statement(line, text, keyword, message, name, selected or "", *place)
    owner = _OWNER.match(text)
    if owner is None:
        return Statement(line, text, keyword)
    return Statement(line, text, keyword, int(owner.group(1)), owner.group(2))
