"""Commands that ask a running daemon, over its real socket, with the daemon in a process of its own."""

from __future__ import annotations

import json
import signal
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic
from typing import Any

import pytest

from underdash.bus.trace import read_trace

Typed = Callable[..., Any]
LONG_S = 60.0


@pytest.fixture
def daemon(started: Typed, config: Path) -> Iterator[subprocess.Popen[str]]:
    """A daemon of the small car; its bus is one that nobody speaks on."""
    process = started("run", "--config", config)
    end = monotonic() + LONG_S
    while monotonic() < end:
        line = process.stderr.readline()
        assert line, "it ended"
        if "event=started" in line:
            break
    yield process
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=LONG_S)


def eventually(typed: Typed, *arguments: object, until: Callable[[Any], bool]) -> Any:
    end = monotonic() + LONG_S
    while monotonic() < end:
        done = typed(*arguments)
        if until(done):
            return done
    raise AssertionError(done)


def test_status_tells_how_the_daemon_is(daemon: object, typed: Typed) -> None:
    done = typed("status")
    assert done.status == 0
    for words in ("Small car: awake", "bus      drive", "guard    let out 0", "plug-ins boost", "engine.speed"):
        assert words in done.out


def test_status_as_json_is_complete(daemon: object, typed: Typed) -> None:
    done = typed("status", "--json")
    table = json.loads(done.out)
    wanted = {
        "car",
        "power",
        "ignition",
        "quiet",
        "buses",
        "inputs",
        "closed",
        "guard",
        "asking",
        "polls",
        "pages",
        "signals",
        "rates",
        "power_off_waits",
    }
    assert wanted | {"plugins", "problems", "faults"} == set(table)
    assert table["buses"][0]["role"] == "drive"
    assert table["pages"] == {"main": "boost"}


def test_why_names_the_broken_link(daemon: object, typed: Typed, config: Path) -> None:
    done = eventually(typed, "why", "engine.coolant_temperature", until=lambda done: "is silent" in done.out)
    assert done.status == 1
    lines = done.out.splitlines()
    assert lines[1] == "bus drive is silent: wake the car, check the plug."
    assert [line.split()[:2] for line in lines[2:5]] == [["ok", "page"], ["waits", "frame"], ["broken", "bus"]]


def test_why_of_a_name_that_is_none_says_the_nearest(daemon: object, typed: Typed) -> None:
    done = typed("why", "engine.coolant_temp")
    assert done.status == 2
    assert "did you mean engine.coolant_temperature?" in done.out


def test_quiet_holds_until_it_is_released(daemon: object, typed: Typed) -> None:
    assert "nothing is sent" in typed("quiet", "on").out
    assert json.loads(typed("status", "--json").out)["quiet"] is True
    assert "QUIET" in typed("status").out
    assert "not quiet" in typed("quiet", "off").out
    assert json.loads(typed("status", "--json").out)["quiet"] is False


def test_record_goes_through_the_daemon(daemon: object, started: Typed, tmp_path: Path) -> None:
    done = started("record", tmp_path / "new.log", "--seconds", "1.2")
    _, err = done.communicate(timeout=LONG_S)
    assert done.returncode == 0, err
    assert "the running daemon owns the buses" in err
    assert "0 frames; drive" in err
    assert (tmp_path / "new.log").read_text().startswith("# underdash trace 1")
    assert list(read_trace(tmp_path / "new.log")) == []


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_recording_through_the_daemon_ends_in_order(
    daemon: object, started: Typed, typed: Typed, tmp_path: Path, number: int
) -> None:
    recording = started("record", tmp_path / "new.log")
    while "0 frames; drive" not in recording.stderr.readline():
        pass
    recording.send_signal(number)
    _, err = recording.communicate(timeout=LONG_S)
    assert recording.returncode == 0, err
    assert typed("status").status == 0


def test_a_recorder_that_is_killed_leaves_the_daemon_in_order(
    daemon: object, started: Typed, typed: Typed, tmp_path: Path
) -> None:
    recording = started("record", tmp_path / "new.log")
    while "0 frames; drive" not in recording.stderr.readline():
        pass
    recording.kill()
    recording.wait(LONG_S)
    assert typed("status").status == 0


def test_a_recording_whose_daemon_ends_keeps_what_was_written(
    daemon: subprocess.Popen[str], started: Typed, tmp_path: Path
) -> None:
    recording = started("record", tmp_path / "new.log")
    while "0 frames; drive" not in recording.stderr.readline():
        pass
    daemon.send_signal(signal.SIGTERM)
    _, err = recording.communicate(timeout=LONG_S)
    assert recording.returncode == 1
    assert "the daemon has ended" in err
    assert (tmp_path / "new.log").exists()


def test_a_recording_never_overwrites(daemon: object, typed: Typed, tmp_path: Path) -> None:
    (tmp_path / "old.log").write_text("precious")
    done = typed("record", tmp_path / "old.log", "--seconds", "1")
    assert done.status == 2
    assert "choose another name" in done.err
    assert (tmp_path / "old.log").read_text() == "precious"


def test_another_daemon_on_other_buses_is_refused_too(daemon: object, started: Typed, config: Path) -> None:
    other = config.with_name("other.toml")
    other.write_text(config.read_text().replace('"nobody"', '"nobody_else"'))
    second = started("run", "--config", other)
    _, err = second.communicate(timeout=LONG_S)
    assert second.returncode == 1
    assert "the daemon runs already" in err


@pytest.mark.parametrize("command", [("status",), ("quiet", "on")])
def test_without_a_daemon_there_is_a_sentence(typed: Typed, config: Path, command: tuple[str, ...]) -> None:
    done = typed(*command)
    assert done.status == 1
    assert "no daemon runs; start it with underdash run" in done.err


def test_why_without_a_daemon_says_what_the_files_tell(typed: Typed, config: Path) -> None:
    done = typed("why", "engine.coolant_temperature", "--config", config)
    assert done.status == 1
    assert "no daemon runs: start it" in done.out
    assert "drive 102" in done.out
    assert "temperatures" in done.out
    done = typed("why", "engine.manifold_pressure", "--config", config)
    assert "nobody provides it: describe it or add a plug-in" in done.out


def test_the_status_page_may_stand_in_a_deck(typed: Typed, changed: Typed) -> None:
    path = changed('deck = ["boost", "temperatures"]', 'deck = ["temperatures", "status"]')
    assert "nobody brings" not in typed("check", "--config", path).out


def test_plugins_lists_what_the_running_daemon_has_suspended(
    daemon: object, typed: Typed, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from underdash.service.client import Client

    assert "suspended or left out by the running daemon: none" in typed("plugins", "--config", config).out
    table = {"plugins": {"suspended": {"boost": "its sum broke (3 times)"}}}
    monkeypatch.setattr(Client, "ask", lambda self, what: table)
    assert "  boost: its sum broke (3 times); restart the daemon" in typed("plugins", "--config", config).out


def test_plugins_says_nothing_of_suspensions_where_no_daemon_runs(typed: Typed, config: Path) -> None:
    assert "suspended" not in typed("plugins", "--config", config).out
