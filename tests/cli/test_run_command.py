"""``underdash run``."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import Any

import pytest

from underdash.cli import run as run_command
from underdash.contract.errors import GivenError, UnderdashError

Typed = Callable[..., Any]
Changed = Callable[[str, str], Path]


def until(process: subprocess.Popen[str], word: str) -> list[str]:
    """Read its log up to a word."""
    lines: list[str] = []
    assert process.stderr is not None
    end = monotonic() + 60
    while monotonic() < end:
        line = process.stderr.readline()
        assert line, f"it ended: {''.join(lines)}"
        lines.append(line)
        if word in line:
            return lines
    raise AssertionError("".join(lines))


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_starts_says_what_the_bus_does_and_ends_in_order(started: Typed, config: Path, number: int) -> None:
    process = started("run", "--config", config)
    lines = until(process, "event=started")
    if not any("now=silent" in line for line in lines):
        until(process, "now=silent")
    assert any("event=plugin " in line and "boost" in line for line in lines)
    assert (config.parent / "panel.png").exists()
    process.send_signal(number)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 0
    assert "Traceback" not in err
    assert "level=error" not in err
    assert not list(config.parent.rglob("*.part"))


def test_a_second_daemon_on_the_same_interface_is_told_who_has_it(started: Typed, typed: Typed, config: Path) -> None:
    first = started("run", "--config", config)
    until(first, "event=started")
    second = started("run", "--config", config)
    _, err = second.communicate(timeout=60)
    assert second.returncode == 1
    assert f"in use by process {first.pid}" in err
    assert "Traceback" not in err
    first.send_signal(signal.SIGTERM)
    first.communicate(timeout=60)
    third = started("run", "--config", config)
    until(third, "event=started")


def test_a_killed_daemon_leaves_no_lock(started: Typed, config: Path) -> None:
    first = started("run", "--config", config)
    until(first, "event=started")
    first.kill()
    first.wait(20)
    until(started("run", "--config", config), "event=started")


def test_an_interface_that_is_not_there_does_not_keep_it_from_running(started: Typed, changed: Changed) -> None:
    path = changed('interface = "virtual"\nchannel = "nobody"', 'channel = "can77"')
    process = started("run", "--config", path)
    lines = until(process, "event=started")
    assert any("bus_failed" in line and "can77" in line for line in lines)
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=60)
    assert process.returncode == 0


def test_recording_is_on_from_the_start_and_whole_at_the_end(started: Typed, config: Path) -> None:
    config.write_text(config.read_text() + '\n[recording]\ntraces = true\nfolder = "traces"\n')
    process = started("run", "--config", config)
    until(process, "event=started")
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=60)
    assert process.returncode == 0
    traces = list((config.parent / "traces").iterdir())
    assert len(traces) == 1
    assert traces[0].read_text().startswith("# underdash trace 1\n")


def test_a_car_whose_plugin_is_refused_ends_nothing(started: Typed, config: Path) -> None:
    text = config.read_text().replace('file = "small.toml"', 'name = "tarn"').replace('["boost",', '["tarn", "boost",')
    config.write_text(text + "\n[plugin.tarn]\nspeed = 1\n")
    process = started("run", "--config", config)
    lines = until(process, "event=started")
    without = next(line for line in lines if "event=goes_without" in line)
    assert "tarn: it takes no settings, found speed; remove [plugin.tarn]" in without
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=20)
    assert process.returncode == 0


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('deck = ["boost", ', 'deck = ["bost", ', "Did you mean 'boost'?"),
        ('driver = "picture"', 'driver = "pictur"', "did you mean 'picture'?"),
        ("[bus.drive]", "[bus.drvie]", "did you mean drive? Its buses are drive"),
        ('supply = "switched"', "", "power.supply is missing"),
        ('file = "small.toml"', 'name = "small"', "car 'small' is not known"),
        ("format = 1", "format = 1\nspeed = 2", "speed"),
    ],
)
def test_what_is_wrong_in_the_configuration_is_told_and_nothing_is_left(
    typed: Typed, changed: Changed, old: str, new: str, says: str
) -> None:
    path = changed(old, new)
    path.write_text(path.read_text() + '\n[recording]\ntraces = true\nfolder = "traces"\n')
    done = typed("run", "--config", path)
    assert done.status == 2
    assert says in done.err
    assert not (path.parent / "traces").exists()
    assert not list((path.parent / "runtime").rglob("*.*"))


def test_a_recording_folder_that_cannot_be_made_is_told_and_it_runs_without(started: Typed, config: Path) -> None:
    (config.parent / "traces").write_text("a file")
    config.write_text(config.read_text() + '\n[recording]\ntraces = true\nfolder = "traces"\n')
    process = started("run", "--config", config)
    lines = until(process, "event=started")
    assert any("nothing is recorded until the next start: recording.folder" in line for line in lines)
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=60)
    assert process.returncode == 0
    assert (config.parent / "traces").read_text() == "a file"


def test_two_buses_at_one_place_are_told(typed: Typed, changed: Changed, car: Path) -> None:
    car.write_text(car.read_text() + "\n[bus.comfort]\nbitrate = 125_000\n")
    bus = '[bus.comfort]\ninterface = "virtual"\nchannel = "nobody"\n\n[power]'
    done = typed("run", "--config", changed("[power]", bus))
    assert done.status == 2
    assert "buses drive and comfort are both at" in done.err


def test_attended_needs_a_person(typed: Typed, config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    done = typed("run", "--config", config, "--attended")
    assert done.status == 2
    assert "there is none" in done.err
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    with pytest.raises(UnderdashError, match="nothing was started"):
        run_command.confirm(lambda question: "yes")
    run_command.confirm(lambda question: " Standing ")
    assert issubclass(GivenError, UnderdashError)
