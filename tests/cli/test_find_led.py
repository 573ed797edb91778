from __future__ import annotations

import errno
import os
import pty
import threading
from collections.abc import Callable, Iterator
from itertools import cycle
from pathlib import Path
from random import Random
from typing import Any

import pytest

from underdash.bus.frames import Frame
from underdash.bus.trace import TraceError, TraceWriter, read_trace
from underdash.cli.find_ignition_led import Person
from underdash.cli.find_led import APART_S, Led, waits
from underdash.cli.live import new_trace
from underdash.contract.errors import UnderdashError
from underdash.finding.pressed.lead import Lead, Plan

Typed = Callable[..., Any]
PERIOD_S, HELD_S, LATE_S = 0.05, 0.3, 0.25


class Car:
    """A bus on a clock of its own, and a person who presses when told."""

    def __init__(self, *, silent: bool = False) -> None:
        self.now = 1000.0
        self.ended = threading.Event()
        self.silent = silent
        self.presses: list[float] = []
        self.said: list[str] = []
        self.led: Led

    def take(self, wait_s: float) -> list[tuple[str, Frame]]:
        found = []
        for n in range(round(wait_s / PERIOD_S)):
            at = self.now + n * PERIOD_S
            down = any(press <= at < press + HELD_S for press in self.presses)
            found.append(("body", Frame(0x2C1, bytes([0x10, 4 * down]), at=at)))
        self.now += wait_s
        return [] if self.silent else found

    def say(self, text: str) -> None:
        self.said.append(text)
        if text.startswith("now: "):
            self.presses.append(self.now + 0.5)
            self.led.typed.put(self.now + 0.5 + LATE_S)


def led(car: Car, path: Path) -> Led:
    lead = Lead(["menu"], car.now, cycle((4.0, 6.5, 5.1)), Plan(quiet_s=20))
    with TraceWriter(path) as out:
        car.led = Led(lead, car, out, path, say=car.say, clock=lambda: car.now)
        car.led.follow(threading.Event())
    return car.led


def test_a_person_is_led_until_the_button_is_found(tmp_path: Path) -> None:
    car = Car()
    done = led(car, tmp_path / "led.log")
    assert done.marked == ["menu"]
    assert len(car.presses) == 5
    assert car.said[-1] == "enough: menu is body 2C1 byte 1 bit 2"
    trace = read_trace(tmp_path / "led.log")
    assert len(list(trace)) > 800
    assert [at for at, _ in trace.marks] == pytest.approx([press + LATE_S for press in car.presses])


def test_a_silent_bus_is_told_before_anybody_presses_in_vain(tmp_path: Path) -> None:
    car = Car(silent=True)
    with pytest.raises(UnderdashError, match="nothing was heard: the car is asleep"):
        led(car, tmp_path / "led.log")
    assert car.presses == []


def test_waits_are_irregular() -> None:
    some = waits(Random(1))
    found = [next(some) for _ in range(20)]
    assert len(set(found)) == 20
    assert all(APART_S[0] <= one <= APART_S[1] for one in found)


def test_the_command_says_what_it_lacks(typed: Typed, config: Path) -> None:
    out = config.parent / "led.log"
    done = typed("find", "pressed", out, "--live", "--config", config)
    assert done.status == 2
    assert "--live leads to what --word names" in done.err
    done = typed("find", "pressed", out, "--live", "--word", "me\udcfcnu", "--config", config)
    assert (done.status, "a word of letters that can be shown is wanted" in done.err) == (2, True)
    assert not out.exists()


class Going(Car):
    """A car whose bus is silent for a while."""

    def take(self, wait_s: float) -> list[tuple[str, Frame]]:
        self.silent = 1025.0 <= self.now < 1035.0
        return super().take(wait_s)


def test_a_bus_that_goes_away_is_told_meanwhile(tmp_path: Path) -> None:
    car = Going()
    led(car, tmp_path / "led.log")
    gone = next(at for at, said in enumerate(car.said) if said.startswith("nothing is heard any more: the car fell"))
    assert "the buses are heard again" in car.said[gone:]


@pytest.fixture
def keyboard(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A terminal as standard input; the end that types."""
    monkeypatch.setattr("os.tcgetpgrp", lambda number: os.getpgrp())
    ours, theirs = pty.openpty()
    with os.fdopen(theirs) as file:
        monkeypatch.setattr("sys.stdin", file)
        yield ours
    os.close(ours)


@pytest.mark.parametrize("question", [("pressed", "--word", "menu"), ("ignition",)])
def test_without_a_keyboard_nobody_is_led(
    typed: Typed, config: Path, monkeypatch: pytest.MonkeyPatch, question: tuple[str, ...]
) -> None:
    out = config.parent / "led.log"
    with config.open() as file, Path(os.devnull).open() as nothing:
        for stream in (None, file, nothing):
            monkeypatch.setattr("sys.stdin", stream)
            done = typed("find", question[0], out, *question[1:], "--live", "--config", config)
            assert (done.status, out.exists()) == (2, False)
            assert "--live needs a keyboard, and the standard input is none; say it in a terminal" in done.err


@pytest.mark.parametrize("question", [("pressed", "--word", "menu"), ("ignition",)])
def test_a_keyboard_that_ends_at_once_ends_it_and_leaves_nothing_behind(
    typed: Typed, config: Path, keyboard: int, question: tuple[str, ...]
) -> None:
    out = config.parent / "led.log"
    os.write(keyboard, b"\x04")  # Ctrl-D
    done = typed("find", question[0], out, *question[1:], "--live", "--config", config)
    assert (done.status, out.exists()) == (130, False)
    assert done.err.endswith("underdash: stopped\n")


@pytest.mark.usefixtures("keyboard")
def test_a_recording_without_a_mark_is_kept_and_no_answer_is_made_of_it(
    typed: Typed, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def follow(one: Led, stop: threading.Event) -> None:
        one._out.write("drive", Frame(0x101, b"\1", at=1.0))
        stop.set()

    monkeypatch.setattr(Led, "follow", follow)
    out = config.parent / "led.log"
    done = typed("find", "pressed", out, "--live", "--word", "menu", "--config", config)
    assert done.status == 130
    assert f"1 frames and no mark in {out}\nunderdash: stopped\n" in done.err
    assert len(list(read_trace(out))) == 1


@pytest.mark.usefixtures("keyboard")
@pytest.mark.parametrize(("marks", "status"), [((), 1), (("OFF",), 130), (("OFF", "ON", "OFF", "ON"), 1)])
def test_a_recording_of_the_ignition_that_is_stopped_too_early_for_an_answer_is_kept_and_ends_as_stopped(
    typed: Typed, config: Path, monkeypatch: pytest.MonkeyPatch, marks: tuple[str, ...], status: int
) -> None:
    def follow(lead: object, source: object, out: TraceWriter, person: Person) -> None:
        for at in range(60):
            out.write("drive", Frame(0x101, b"\1", at=float(at)))
        for at, word in enumerate(marks):
            out.mark(word, 5.0 + 10.0 * at)
        person.stop.set()

    monkeypatch.setattr("underdash.cli.find_ignition_led.follow", follow)
    out = config.parent / "led.log"
    done = typed("find", "ignition", out, "--live", "--config", config)
    assert done.status == status  # 1: there was enough to say that nothing is like it
    assert (f"underdash: stopped before it was enough, {out} is kept: the marks" in done.err) == (status == 130)
    assert len(list(read_trace(out))) == 60


@pytest.mark.usefixtures("keyboard")
def test_a_daemon_that_ends_before_the_first_mark_is_told(
    typed: Typed, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def follow(one: Led, stop: threading.Event) -> None:
        one._source.ended.set()

    monkeypatch.setattr(Led, "follow", follow)
    done = typed("find", "pressed", config.parent / "led.log", "--live", "--word", "menu", "--config", config)
    assert done.status == 1
    assert done.err.endswith("has ended before anything was marked; say this again once it runs\n")


@pytest.mark.usefixtures("keyboard")
def test_the_command_ends_where_nothing_is_heard(typed: Typed, config: Path) -> None:
    out = config.parent / "led.log"
    done = typed("find", "pressed", out, "--live", "--word", "menu", "--quiet", "0.3", "--config", config)
    assert done.status == 1
    assert "leave everything alone for 0 s" in done.err
    assert "nothing was heard: the car is asleep" in done.err
    assert not out.exists()


def test_a_disk_that_fills_up_is_told_with_the_recording_and_what_was_written_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "led.log"

    def record() -> None:
        with new_trace(path) as out:
            out.write("drive", Frame(0x101, b"\1", at=1.0))
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(TraceError, match=r"led\.log cannot be written any further: no space left on device; what was"):
        record()
    assert len(list(read_trace(path))) == 1
