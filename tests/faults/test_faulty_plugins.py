"""Plug-ins that misbehave: each costs what is its own, and the key is read as ever."""

from __future__ import annotations

import re
from collections.abc import Callable
from importlib.metadata import entry_points
from typing import Any

import pytest

from underdash.loading import load
from underdash.simulator.driver import Phase, Press
from underdash.wiring import building

Table = list[tuple[str, str, str]]
ON = (Phase("unlocked", 0.5, "LOCK", lights=False, knob=1.0, daylight=1.0), Phase("on", 60, "ON"))
END_S = 8.0

PAGE = """
KEPT = []

def draw(canvas, snapshot):
    canvas.title(str(len(KEPT)))
    {does}

@hookimpl
def display_pages(car):
    return [Page("tiny", "Tiny", draw, ("vehicle.speed",))]
"""
STEP = """
@hookimpl
def signals():
    return [Signal("tiny.sum", "kPa", "a sum")]

def step(state, inputs, dt_s):
    {does}

@hookimpl
def derived_signals(car):
    return [Derived("tiny.sum", ("vehicle.speed",), step)]
"""
THREAD = "import threading; threading.Thread(target=threading.Event().wait, args=(20,), daemon=True).start()"

BREAKS = {
    "raises in draw": (PAGE, "raise RuntimeError('broken')", "page 'tiny' was taken off.*broken"),
    "draws garbage": (PAGE, "canvas.sweep('x', object(), None)", "page 'tiny' was taken off"),
    "exits in draw": (PAGE, "import sys; sys.exit(3)", "page 'tiny' was taken off.*SystemExit"),
    "blocks 300 ms in draw": (PAGE, "import threading; threading.Event().wait(0.3)", "page 'tiny' is slow: 3"),
    "leaks memory in draw": (PAGE, "KEPT.append(bytearray(1 << 20))", "drive is heard"),
    "leaks threads in draw": (PAGE, THREAD, "drive is heard"),
    "exits in a step": (STEP, "import sys; sys.exit(3)", "plug-in tiny suspended: .*SystemExit"),
    "gives garbage in a step": (STEP, "return object()", "plug-in tiny suspended: .*tiny.sum raised TypeError"),
    "gives no number in a step": (STEP, "return None, Result('hot')", "plug-in tiny suspended: .*'hot'"),
}


@pytest.fixture
def with_tiny(drive: Any, tiny_plugin: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """Makes a journey with a plug-in of this source."""

    def make(source: str, *, deck: bool, script: tuple[Phase, ...] = ON) -> Any:
        points = [*entry_points(group="underdash"), tiny_plugin(source)]
        monkeypatch.setattr(building, "load", lambda enabled, **given: load(enabled, points, **given))

        def edit(text: str) -> str:
            text = text.replace('"page_turn"]', '"page_turn", "tiny"]')
            return text.replace('deck = ["boost"', 'deck = ["tiny", "boost"') if deck else text

        journey = drive(script, edit=edit)
        assert not journey.demo.built.assembly.loaded.refused
        return journey

    return make


def faults(journey: Any) -> list[str]:
    status = journey.demo.daemon.status()
    return [*status.faults, *(bus.sentence for bus in status.buses)]


@pytest.mark.parametrize("name", BREAKS)
def test_a_plug_in_that_misbehaves_costs_what_is_its_own(
    name: str, with_tiny: Callable[..., Any], table: Table
) -> None:
    source, does, says = BREAKS[name]
    journey = with_tiny(source.format(does=does), deck=source is PAGE)
    screen = journey.demo.daemon.screens
    for second in range(1, int(END_S)):
        # the drive jumps ahead of the clock on the wall, by which the renderer's thread draws
        journey.at(second, lambda: screen[0].settled(5.0))
    journey.run(END_S)
    said = faults(journey)
    told = next((sentence for sentence in said if re.search(says, sentence)), "")
    assert told, said
    assert journey.seen[-1][1].reading("vehicle.ignition").value == "ON"
    late = journey.requests(END_S - 3, END_S)
    assert late
    table.append((f"plug-in {name}", f"key ON, {len(late)} requests in the last 3 s", told))


def test_a_handler_that_raises_is_suspended(with_tiny: Callable[..., Any], table: Table) -> None:
    source = """
def on(gesture, snapshot):
    raise KeyError("no such thing")

@hookimpl
def button_handlers(car):
    return [ButtonHandler("NAME", GestureKind.PRESS, on)]
"""
    name = "menu"
    presses = tuple(Press(name, 1.0 + number, 0.1) for number in range(4))
    script = (ON[0], Phase("on", 60, "ON", presses=presses))
    journey = with_tiny(source.replace("NAME", name), deck=False, script=script)
    journey.run(END_S)
    told = [sentence for sentence in faults(journey) if re.search("plug-in tiny suspended: .*no such thing", sentence)]
    assert told, faults(journey)
    assert journey.requests(END_S - 3, END_S)
    table.append(("plug-in raises in a handler", "requests go on", told[0]))
