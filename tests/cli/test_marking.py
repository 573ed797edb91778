from __future__ import annotations

import os
import pty
import queue

import pytest

from underdash.cli.marking import FIRST_WORD, MOST_WORD_LETTERS, Words, marking
from underdash.contract.errors import UnderdashError

LONG_S = 60.0


def test_an_empty_line_repeats_the_word() -> None:
    words = Words()
    assert words.feed(b"\n") == [FIRST_WORD]
    assert words.feed(b"me") == []
    assert words.feed(b"nu\n\n \ndoor  left\n") == ["menu", "menu", "menu", "door left"]


def test_an_empty_line_ends_what_was_begun_and_begins_it_once_more() -> None:
    assert Words().feed(b"knob begin\n\n\nspend\n\n") == ["knob begin", "knob end", "knob begin", "spend", "spend"]


def test_what_is_no_text_and_what_is_long_does_no_harm() -> None:
    assert Words().feed(b"\xff" * 500 + b"\n") == ["\ufffd" * MOST_WORD_LETTERS]


def test_a_terminal_is_read_line_by_line(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.tcgetpgrp", lambda number: os.getpgrp())
    ours, theirs = pty.openpty()
    seen: queue.Queue[str] = queue.Queue()
    try:
        with marking(seen.put, theirs):
            os.write(ours, b"horn\n\n")
            assert [seen.get(timeout=LONG_S), seen.get(timeout=LONG_S)] == ["horn", "horn"]
    finally:
        os.close(ours)
        os.close(theirs)
    assert "at each deed press Enter" in capsys.readouterr().err


def test_a_mark_that_cannot_be_set_is_told_and_the_next_is_tried(capsys: pytest.CaptureFixture[str]) -> None:
    ours, theirs = os.pipe()
    seen: queue.Queue[str] = queue.Queue()

    def mark(word: str) -> None:
        seen.put(word)
        raise UnderdashError("the daemon has ended")

    with os.fdopen(theirs, "wb", buffering=0) as file, marking(mark, ours):
        file.write(b"a\nb\n")
        assert [seen.get(timeout=LONG_S), seen.get(timeout=LONG_S)] == ["a", "b"]
    os.close(ours)
    assert "no mark 'a' was set: the daemon has ended" in capsys.readouterr().err


def test_an_input_that_ends_is_no_mark() -> None:
    seen: list[str] = []
    with open(os.devnull, "rb") as nothing, marking(seen.append, nothing.fileno()):
        pass
    assert seen == []


def test_a_led_person_gets_no_hint_and_an_empty_line_never_repeats(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("os.tcgetpgrp", lambda number: os.getpgrp())
    ours, theirs = pty.openpty()
    seen: queue.Queue[str] = queue.Queue()
    try:
        with marking(seen.put, theirs, led=True):
            os.write(ours, b"-\n\n")
            assert [seen.get(timeout=LONG_S), seen.get(timeout=LONG_S)] == ["-", FIRST_WORD]
    finally:
        os.close(ours)
        os.close(theirs)
    assert capsys.readouterr().err == ""
