"""What is said between the daemon and the commands: one JSON object a line, each way. Pure; `control.py` carries it.

    {"v": 1, "ask": "why", "with": {"signal": "engine.oil_temperature"}}      a request
    {"v": 1, "answer": {...}}                                                 its only or last answer
    {"v": 1, "more": {...}}                                                   one of several, the last one is an answer
    {"v": 1, "error": "sentence", "status": 2}                                it could not be done; 2: nor ever will be

One request is open on a connection at a time. ``{"v": 1, "ask": "stop"}`` ends one that goes on.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ..contract.errors import GivenError, UnderdashError

VERSION = 1
MOST_REQUEST_BYTES = 16_384
MOST_ANSWER_BYTES = 1_048_576
STOP = "stop"


class MessageError(GivenError):
    """A line that is no message of this protocol."""


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked for, and with what."""

    ask: str
    given: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer: `last` unless more are to come; `error` is a sentence where it could not be done."""

    table: Mapping[str, Any] = field(default_factory=dict)
    last: bool = True
    error: str = ""
    status: int = 0


class Lines:
    """Cuts what arrives into lines.

    Args:
        most: longest line in bytes.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._rest = bytearray()

    def feed(self, data: bytes) -> list[bytes]:
        """Return the lines that are whole now.

        Raises:
            MessageError: a line is too long; nothing after it can be trusted.
        """
        self._rest += data
        *whole, rest = self._rest.split(b"\n")
        if len(rest) > self._most or any(len(line) > self._most for line in whole):
            raise MessageError(f"a line is longer than {self._most} bytes; ask for less at once")
        self._rest = rest
        return [bytes(line) for line in whole if line.strip()]


def request_line(request: Request) -> bytes:
    """Spell a request; raises `MessageError` if it is too long."""
    return _line({"v": VERSION, "ask": request.ask, "with": dict(request.given)}, MOST_REQUEST_BYTES)


def reply_line(reply: Reply) -> bytes:
    """Spell an answer; raises `MessageError` if it is too long."""
    if reply.error:
        return _line({"v": VERSION, "error": reply.error, "status": reply.status or 1}, MOST_ANSWER_BYTES)
    return _line({"v": VERSION, "answer" if reply.last else "more": dict(reply.table)}, MOST_ANSWER_BYTES)


def read_request(line: bytes) -> Request:
    """Read a request.

    Raises:
        MessageError: it is none, or of another version of the protocol.
    """
    table = _table(line)
    ask, given = table.get("ask"), table.get("with", {})
    if not isinstance(ask, str) or not ask:
        raise MessageError('a request names what it asks for, such as {"v": 1, "ask": "status"}')
    if not isinstance(given, dict):
        raise MessageError(f'"with" of request {ask!r} takes a table; found {type(given).__name__}')
    return Request(ask, given)


def read_reply(line: bytes) -> Reply:
    """Read an answer.

    Raises:
        MessageError: it is none, or of another version of the protocol.
    """
    table = _table(line)
    if isinstance(error := table.get("error"), str):
        return Reply(error=error, status=2 if table.get("status") == 2 else 1)
    for key in ("answer", "more"):
        if isinstance(answer := table.get(key), dict):
            return Reply(answer, last=key == "answer")
    raise MessageError("the daemon's answer has no content; it may be of another version: restart it")


def failure(exc: BaseException) -> Reply:
    """Return the answer to a request that raised."""
    if isinstance(exc, UnderdashError):
        return Reply(error=str(exc), status=exc.exit_status)
    return Reply(error=f"a mistake in underdash itself ({type(exc).__name__}: {exc}); the daemon's log has more")


def _line(table: dict[str, Any], most: int) -> bytes:
    # a line break inside a text is escaped by JSON itself
    line = json.dumps(table, separators=(",", ":"), allow_nan=False, default=str).encode() + b"\n"
    if len(line) > most:
        raise MessageError(f"a message of {len(line)} bytes is longer than {most}; ask for less at once")
    return line


def _table(line: bytes) -> dict[str, Any]:
    try:
        table = json.loads(line)
    except (ValueError, RecursionError) as exc:
        raise MessageError(f"this is no JSON object on one line: {exc}") from exc
    if not isinstance(table, dict):
        raise MessageError(f"this is no JSON object but {type(table).__name__}")
    if table.get("v") != VERSION or isinstance(table.get("v"), bool):
        raise MessageError(
            f"this speaks version {table.get('v')!r} of the protocol, the other end version {VERSION}; "
            "daemon and command must be of one installation: restart the daemon"
        )
    return table
