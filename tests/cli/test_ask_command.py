"""``underdash ask`` as a person types it: on the simulated car, and through a running daemon."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic
from typing import Any

import pytest

from underdash.cli import ask_scan

Typed = Callable[..., Any]
LONG_S = 60.0


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of one's own to work in, and no daemon."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))
    return tmp_path


def test_one_request_prints_bytes_and_values_and_the_caution(here: Path, typed: Typed) -> None:
    done = typed("ask", "--demo", "tarn", "gearbox", "21C7")
    assert done.status == 0
    lines = done.out.splitlines()
    assert lines[0].startswith("gearbox 22 21C7: gearbox answered in ")
    assert lines[1:] == ["  1 byte  40", "  gearbox.oil_temperature  14 °C"]
    assert "The car has to stand" in done.err


def test_a_refusal_is_a_sentence_with_the_iso_name(here: Path, typed: Typed) -> None:
    done = typed("ask", "--demo", "tarn", "engine", "0C", "--protocol", "service_01")
    assert done.status == 1
    assert done.out == ""
    assert "engine says it does not know this identifier (requestOutOfRange, code 31)" in done.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "say what to ask"),
        (("gearbox", "zz"), "found 'zz'"),
        (("gearbox", "21C8-21C7"), "ends before it begins"),
        (("gearbox", "21C7", "--results", "f"), "--results is for a range"),
        (("gearbox.oil_temperature", "--protocol", "identifier_22"), "--protocol is for an identifier"),
        (("gearbox", "--discover", "drive"), "--discover goes by itself"),
        (("gearbox", "21C7", "--attended"), "--attended is for a real car"),
        (("gearbx", "21C7"), "Did you mean gearbox?"),
        (("gearbox", "21C7", "--protocol", "security"), "none that is asked in by hand"),
    ],
)
def test_what_is_wrong_is_said_in_a_sentence(here: Path, typed: Typed, arguments: tuple[str, ...], words: str) -> None:
    done = typed("ask", "--demo", "tarn", *arguments)
    assert done.status == 2
    assert words in done.err


def test_a_scan_lists_what_answered_and_goes_on_where_it_ended(here: Path, typed: Typed) -> None:
    done = typed("ask", "--demo", "tarn", "gearbox", "21C6-21C8", "--results", "mine.txt")
    assert done.status == 0
    assert '# identifier = "21C7"' in done.out
    assert "# 1 byte: 40, and the same later" in done.out
    assert "2 refused, 1 answered; results in mine.txt" in done.err
    kept = (here / "mine.txt").read_text()
    assert [line for line in kept.splitlines() if not line.startswith("#")] == [
        "1 21C6 refused 31",
        "1 21C7 answered 40",
        "1 21C8 refused 31",
        "2 21C7 answered 40",
    ]
    with (here / "mine.txt").open("a") as file:
        file.write("1 21C")  # the supply went
    done = typed("ask", "--demo", "tarn", "gearbox", "21C6-21C9", "--results", "mine.txt")
    assert done.status == 0
    assert (here / "mine.txt").read_text() == kept + "1 21C9 refused 31\n"


def test_results_of_something_else_are_not_touched(here: Path, typed: Typed) -> None:
    (here / "notes.txt").write_text("precious\n")
    done = typed("ask", "--demo", "tarn", "gearbox", "21C6-21C8", "--results", "notes.txt")
    assert done.status == 2
    assert "name another file" in done.err
    assert (here / "notes.txt").read_text() == "precious\n"


def test_ctrl_c_ends_a_scan_in_order_and_keeps_what_there_is(started: Typed, tmp_path: Path) -> None:
    process = started("ask", "--demo", "tarn", "gearbox", "2000-2FFF", "--results", "mine.txt")
    kept = tmp_path / "mine.txt"
    end = monotonic() + LONG_S
    while not (kept.exists() and kept.read_text().count("\n") > 10):
        assert monotonic() < end
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=LONG_S)
    assert process.returncode == 130
    assert "the same command goes on from here" in err
    assert "Traceback" not in err
    lines = kept.read_text().splitlines()
    assert all(len(line.split(" ")) == 4 for line in lines[2:])


def test_who_is_there_is_listed(here: Path, typed: Typed, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ask_scan, "standard_ids", lambda: ["7E0", "18DA10F1", "18DA11F1"])
    done = typed("ask", "--demo", "tarn", "--discover", "drive")
    assert done.status == 0
    assert done.out.startswith("18DA10F1  engine: engine answered in ")
    assert "1 control unit answered" in done.err


# --- through the daemon -------------------------------------------------------------------------------------------


@pytest.fixture
def daemon(started: Typed, config: Path, car: Path) -> Iterator[subprocess.Popen[str]]:
    """A daemon of the small car with a control unit; its bus is one that nobody speaks on."""
    car.write_text(car.read_text() + '\n[unit.engine]\nbus = "drive"\nrequest = "7E0"\nresponse = "7E8"\n')
    process = started("run", "--config", config)
    while "event=started" not in (line := process.stderr.readline()):
        assert line, "it ended"
    yield process
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=LONG_S)


def test_a_running_daemon_asks_and_says_why_it_does_not(daemon: object, here: Path, typed: Typed) -> None:
    done = typed("ask", "engine", "0C", "--protocol", "service_01")
    assert done.status == 1
    assert "the running daemon owns the buses" in done.err
    assert "engine 01 0C was not sent now: drive: sending is not allowed; write transmit = true" in done.err
    done = typed("ask", "engine", "0C-0F", "--protocol", "service_01")
    assert done.status == 1
    assert "4 requests are left, the same command goes on from here" in done.err
    done = typed("ask", "engin", "0C")
    assert done.status == 2
    assert "Did you mean engine?" in done.err
    done = typed("ask", "engine", "0C")
    assert done.status == 2
    assert "nothing says which protocol engine speaks" in done.err


def test_the_daemon_takes_the_word_of_a_person_who_says_so_at_the_keyboard(
    daemon: object, here: Path, typed: Typed, monkeypatch: pytest.MonkeyPatch
) -> None:
    question = ("ask", "engine", "0C", "--protocol", "service_01", "--attended")
    done = typed(*question)
    assert done.status == 2
    assert "start it from a terminal" in done.err
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("builtins.input", lambda text: "yes")
    assert "not confirmed" in typed(*question).err
    monkeypatch.setattr("builtins.input", lambda text: "standing")
    done = typed(*question)
    assert done.status == 1
    assert "a person's word cannot count now: the buses are silent; switch the ignition on first" in done.err


def test_without_a_daemon_the_buses_are_opened_here(here: Path, config: Path, typed: Typed) -> None:
    done = typed("ask", "engine", "0C", "--config", config)
    assert done.status == 2
    assert "has no control unit 'engine'" in done.err
    done = typed("ask", "engine", "0C", "--config", config, "--attended")
    assert done.status == 2
    assert "start it from a terminal" in done.err
