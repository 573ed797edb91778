from __future__ import annotations

import threading
from collections.abc import Callable
from itertools import cycle
from pathlib import Path
from random import Random
from typing import Any

import pytest

from underdash.bus.frames import Frame
from underdash.bus.trace import TraceWriter, read_trace
from underdash.cli.find_led import APART_S, Led, waits
from underdash.contract.errors import UnderdashError
from underdash.finding.lead import Lead, Plan

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
    assert not out.exists()


def test_the_command_ends_where_nothing_is_heard(typed: Typed, config: Path) -> None:
    out = config.parent / "led.log"
    done = typed("find", "pressed", out, "--live", "--word", "menu", "--quiet", "0.3", "--config", config)
    assert done.status == 1
    assert "leave everything alone for 0 s" in done.err
    assert "nothing was heard: the car is asleep" in done.err
