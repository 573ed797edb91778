"""What is said over the daemon's socket, and what is no message."""

from __future__ import annotations

import contextlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.contract.errors import GivenError, UnderdashError
from underdash.service.messages import (
    MOST_REQUEST_BYTES,
    Lines,
    MessageError,
    Reply,
    Request,
    failure,
    read_reply,
    read_request,
    reply_line,
    request_line,
)

TABLES = st.dictionaries(
    st.text(max_size=8), st.one_of(st.none(), st.booleans(), st.integers(), st.text(max_size=20)), max_size=5
)


@given(st.text(min_size=1, max_size=20), TABLES)
def test_a_request_is_read_as_it_was_spelt(ask: str, table: dict[str, object]) -> None:
    line = request_line(Request(ask, table))
    assert line.count(b"\n") == 1
    assert read_request(line) == Request(ask, table)


@given(TABLES, st.booleans())
def test_an_answer_is_read_as_it_was_spelt(table: dict[str, object], last: bool) -> None:
    line = reply_line(Reply(table, last))
    assert line.count(b"\n") == 1
    assert read_reply(line) == Reply(table, last)


@pytest.mark.parametrize(
    ("exc", "status", "says"),
    [
        (UnderdashError("no room; make some"), 1, "no room; make some"),
        (GivenError("wrong; write another"), 2, "wrong; write another"),
        (ZeroDivisionError("by nought"), 1, "a mistake in underdash itself"),
    ],
)
def test_a_failure_travels_as_a_sentence_with_the_commands_exit_status(exc: Exception, status: int, says: str) -> None:
    reply = read_reply(reply_line(failure(exc)))
    assert (reply.status, reply.last) == (status, True)
    assert says in reply.error


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (b"hello", "no JSON object"),
        (b"\xff\xfe", "no JSON object"),
        (b"[1]", "but list"),
        (b"[" * 10_000, "no JSON object"),
        (b'{"ask": "status"}', "version None"),
        (b'{"v": 2, "ask": "status"}', "restart the daemon"),
        (b'{"v": true, "ask": "status"}', "version True"),
        (b'{"v": 1}', "names what it asks for"),
        (b'{"v": 1, "ask": ""}', "names what it asks for"),
        (b'{"v": 1, "ask": 7}', "names what it asks for"),
        (b'{"v": 1, "ask": "why", "with": "it"}', "takes a table"),
    ],
)
def test_what_is_no_request_is_answered_with_what_is_wrong(line: bytes, says: str) -> None:
    with pytest.raises(MessageError, match=says):
        read_request(line)


@pytest.mark.parametrize("line", [b'{"v": 1}', b'{"v": 1, "answer": 3}', b'{"v": 9, "answer": {}}', b"{"])
def test_what_is_no_answer_is_an_error(line: bytes) -> None:
    with pytest.raises(MessageError):
        read_reply(line)


@given(st.binary(max_size=200))
def test_no_bytes_do_more_than_raise_the_protocols_own_error(data: bytes) -> None:
    for read in (read_request, read_reply):
        with contextlib.suppress(MessageError):
            read(data)


@given(st.lists(st.binary(max_size=10).filter(lambda line: b"\n" not in line and line.strip()), max_size=8), st.data())
def test_lines_come_out_whole_however_they_arrive(lines: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(line + b"\n" for line in lines)
    cutter, found = Lines(10), []
    while stream:
        size = data.draw(st.integers(1, len(stream)))
        found += cutter.feed(stream[:size])
        stream = stream[size:]
    assert found == lines


def test_a_line_without_end_is_refused_before_it_fills_the_memory() -> None:
    lines = Lines(100)
    assert lines.feed(b"x" * 100) == []
    with pytest.raises(MessageError, match="longer than 100 bytes"):
        lines.feed(b"x")


def test_a_request_that_is_too_long_is_not_spelt() -> None:
    with pytest.raises(MessageError, match="ask for less"):
        request_line(Request("why", {"signal": "x" * MOST_REQUEST_BYTES}))


def test_a_number_that_is_none_is_not_spelt() -> None:
    with pytest.raises(ValueError, match="JSON"):
        reply_line(Reply({"value": float("nan")}))


def test_a_line_is_plain_json_for_whoever_wants_to_ask_without_this_program() -> None:
    assert json.loads(request_line(Request("status"))) == {"v": 1, "ask": "status", "with": {}}
