from __future__ import annotations

import io

import pytest

from underdash.cli.progress import Progress, drawn, redraws


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Clock:
    now = 100.0

    def __call__(self) -> float:
        return self.now


def test_a_bar_appears_after_half_a_second_and_is_wiped_at_the_end() -> None:
    terminal, clock = Terminal(), Clock()
    with Progress("reading a.log", terminal, clock) as progress:
        progress(0.1)
        clock.now += 0.4
        progress(0.2)
        assert terminal.getvalue() == ""
        clock.now += 0.1
        progress(0.5)
        assert terminal.getvalue() == "\rreading a.log |" + 15 * "=" + 15 * " " + "|  50 %"
        clock.now += 0.05
        progress(0.6)
        assert "60 %" not in terminal.getvalue()
        clock.now += 0.05
        progress(0.7)
        assert terminal.getvalue().endswith("|  70 %")
    assert terminal.getvalue().endswith("\r\x1b[K")


def test_what_is_quick_shows_nothing() -> None:
    terminal = Terminal()
    with Progress("reading a.log", terminal, Clock()) as progress:
        progress(1.0)
    assert terminal.getvalue() == ""


def test_a_file_or_a_pipe_gets_no_bar() -> None:
    pipe, clock = io.StringIO(), Clock()
    with Progress("reading a.log", pipe, clock) as progress:
        clock.now += 10.0
        progress(0.5)
    assert pipe.getvalue() == ""


@pytest.mark.parametrize("columns", [0, 1, 8, 20, 30, 40, 60, 200])
def test_a_bar_never_takes_a_second_line(columns: int) -> None:
    line = drawn("reading a_recording_of_saturday.log", 0.5, columns)
    assert len(line) < max(columns, 7)
    assert line.endswith(" 50 %")
    assert ("|" in line) == (columns >= 60)


def test_a_terminal_that_only_appends_is_not_drawn_on(monkeypatch: pytest.MonkeyPatch) -> None:
    for kind, drawn_on in (("xterm", True), ("vt220", True), ("dumb", False)):
        monkeypatch.setenv("TERM", kind)
        assert redraws(Terminal()) is drawn_on
    monkeypatch.delenv("TERM")
    assert redraws(Terminal())
    assert not redraws(io.StringIO())
    assert not redraws(None)
