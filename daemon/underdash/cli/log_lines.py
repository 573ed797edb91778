"""Lines of the daemon's log: read from the journal's JSON or from a plain file, and written for a person. Pure."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from .log_sentences import sentence

LEVELS = {0: "emergency", 1: "alert", 2: "critical", 3: "error", 4: "warning", 5: "notice", 6: "", 7: "debug"}
"""By priority (RFC 5424, 6.2.1); what is usual needs no word."""
_WORDS = {"debug": 7, "info": 6, "warning": 4, "error": 3, "critical": 2}
_PAIR = re.compile(r'\s*([^\s="]+)=(?:"((?:[^"\\]|\\.)*)"|([^\s"]*))')
_ESCAPED = re.compile(r"\\(.)", re.DOTALL)
_PRIORITY = re.compile(r"<([0-7])>")
USUAL = 6


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a log.

    Attributes:
        text: as it was written.
        at: when, in seconds since 1970; None where the line does not say.
        priority: of syslog.
    """

    text: str
    at: float | None = None
    priority: int = USUAL


def entry(line: str) -> Entry | None:
    """Read a line: an object of ``journalctl -o json``, or one as the daemon writes it; None if it is empty."""
    line = line.strip()
    if line.startswith("{"):
        try:
            table = json.loads(line)
        except ValueError:
            table = None
        if isinstance(table, dict) and "MESSAGE" in table:
            return _of_journal(table)
    match = _PRIORITY.match(line)
    text = line[match.end() :] if match else line
    level = facts(text).get("level", "")
    priority = int(match[1]) if match else _WORDS.get(level, USUAL)
    return Entry(text, None, priority) if text else None


def _of_journal(table: Mapping[str, Any]) -> Entry:
    message, at, priority = (table.get(key) for key in ("MESSAGE", "__REALTIME_TIMESTAMP", "PRIORITY"))
    if isinstance(message, list):  # what is no text stands there as numbers (systemd, Journal JSON Format)
        message = bytes(one & 0xFF for one in message if isinstance(one, int)).decode("utf-8", "replace")
    level = _number(priority, USUAL)
    return Entry(str(message or "").strip(), _number(at, -1) / 1e6 if _number(at, -1) >= 0 else None, level)


def _number(text: Any, otherwise: int) -> int:
    return int(text) if isinstance(text, str | int) and str(text).isdecimal() else otherwise


def facts(text: str) -> dict[str, str]:
    """Take a line apart into key and value; empty where it is not made of these from its begin to its end."""
    found: dict[str, str] = {}
    at = 0
    while at < len(text):
        match = _PAIR.match(text, at)
        if match is None:
            return {} if text[at:].strip() else found
        quoted, plain = match[2], match[3]
        found[match[1]] = plain if quoted is None else _ESCAPED.sub(_unescaped, quoted)
        at = match.end()
    return found


def _unescaped(match: re.Match[str]) -> str:
    return "\n" if match[1] == "n" else match[1]


def told(found: Entry, zone: tzinfo | None = None, say: Callable[[Mapping[str, str]], str | None] = sentence) -> str:
    """Return a line for a person: when, how serious, and the sentence, or the text as it is where nobody knows it.

    Args:
        found: the entry.
        zone: of the time; the machine's own if left out.
        say: makes the sentence.
    """
    when = "" if found.at is None else f"{datetime.fromtimestamp(found.at, zone):%b %d %H:%M:%S}  "
    level = LEVELS.get(found.priority, "")
    text = say(facts(found.text)) or found.text
    return f"{when}{f'{level}: ' if level else ''}{text}"
