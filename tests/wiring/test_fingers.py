"""From samples of a button to what the core does."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import EntryPoint

from structlog.testing import capture_logs

from underdash.buttons.gestures import GestureOptions
from underdash.contract.buttons import Action, ResetPeak, SetChoice, TurnPage
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.loading import load
from underdash.testing import snapshot
from underdash.wiring.assembly import assemble
from underdash.wiring.fingers import Fingers

TinyPlugin = Callable[..., EntryPoint]

BUTTON = BroadcastListener("comfort", 0x300, (Field("button.menu", Bits(0, 1, 0)),), period_s=0.05)
CAR = CarDescription(
    "small", "Small", (BusDescription("comfort", 125_000),), broadcasts=(BUTTON,), buttons=(("menu", "comfort"),)
)

TURNS = """
@hookimpl
def button_handlers(car):
    return [ButtonHandler("menu", GestureKind.HOLD, lambda gesture, seen: [TurnPage(1)], 0.8)]
"""
RESETS = """
@hookimpl
def button_handlers(car):
    return [ButtonHandler("menu", GestureKind.PRESS, lambda gesture, seen: [ResetPeak("engine.speed"), ResetPeak()])]
"""
CHOOSES = """
@hookimpl
def button_handlers(car):
    actions = [SetChoice("dashboard.night", True), TurnPage(1)]
    return [ButtonHandler("menu", GestureKind.HOLD, lambda gesture, seen: actions, 0.8)]
"""
FALLS = """
def fall(gesture, seen):
    raise RuntimeError("it broke")

@hookimpl
def button_handlers(car):
    return [ButtonHandler("menu", GestureKind.PRESS, fall)]
"""


class Parts:
    def __init__(self, *points: EntryPoint) -> None:
        self.assembly = assemble(CAR, load({point.name: {} for point in points}, points))
        assert not self.assembly.loaded.refused
        self.done: list[Action] = []
        self.said: list[str] = []
        self.fingers = Fingers(self.assembly, GestureOptions(), self.done.append, self._say)
        self.now = 100.0
        self.seen: dict[str, float] = {}

    def _say(self, sentence: str, now: float) -> None:
        self.said.append(sentence)

    def hold(self, pressed: bool, seconds: float) -> None:
        """Frames every 50 ms and a tick after each."""
        for _ in range(round(seconds / 0.05)):
            self.now += 0.05
            self.assembly.tables["comfort"][0x300](bytes((pressed,)), self.now)
            self.fingers.tick(lambda: snapshot(self.seen), self.now)


def test_a_peak_that_no_page_holds_is_told_once(tiny_plugin: TinyPlugin) -> None:
    parts = Parts(tiny_plugin(RESETS))
    with capture_logs() as logs:
        for _ in range(3):
            parts.hold(False, 0.2)
            parts.hold(True, 0.2)
        parts.hold(False, 1.0)
    assert parts.done == [ResetPeak("engine.speed"), ResetPeak()] * 3
    (told,) = [entry for entry in logs if entry["event"] == "peak_not_held"]
    assert (told["plugin"], told["signal"]) == ("tiny", "engine.speed")
    assert "peaks of a page" in told["remedy"]


def test_a_hold_is_performed_once(tiny_plugin: TinyPlugin) -> None:
    parts = Parts(tiny_plugin(TURNS))
    parts.hold(False, 0.2)
    parts.hold(True, 2.0)
    parts.hold(False, 0.5)
    assert parts.done == [TurnPage(1)]
    assert parts.fingers.performed == 1


def test_a_hold_that_a_lost_bus_interrupts_is_none(tiny_plugin: TinyPlugin) -> None:
    parts = Parts(tiny_plugin(TURNS))
    parts.hold(False, 0.2)
    parts.hold(True, 0.5)
    parts.fingers.lost(parts.now)
    parts.now += 2.0
    parts.fingers.tick(lambda: snapshot({}), parts.now)
    assert parts.done == []


def test_a_stuck_button_is_named_and_does_nothing_more(tiny_plugin: TinyPlugin) -> None:
    parts = Parts(tiny_plugin(TURNS))
    parts.hold(False, 0.2)
    parts.hold(True, 31.0)
    assert parts.fingers.notes() == ["button menu is stuck"]
    parts.hold(False, 0.5)
    assert parts.fingers.notes() == []


def test_a_handler_that_raises_three_times_is_suspended_and_others_go_on(tiny_plugin: TinyPlugin) -> None:
    parts = Parts(tiny_plugin(FALLS, "falls"), tiny_plugin(TURNS, "turns"))
    for _ in range(4):
        parts.hold(False, 1.0)
        parts.hold(True, 0.1)
    parts.hold(False, 1.0)
    assert "it broke" in parts.assembly.suspended["falls"]
    assert "3 times" in parts.assembly.suspended["falls"]
    parts.hold(True, 1.2)
    parts.hold(False, 0.5)
    assert parts.done == [TurnPage(1)]


def test_what_is_no_glance_is_held_back_while_the_car_moves_and_the_rest_is_done(tiny_plugin: TinyPlugin) -> None:
    parts = Parts(tiny_plugin(CHOOSES))
    parts.seen = {"vehicle.speed": 50.0}
    parts.hold(False, 0.2)
    parts.hold(True, 1.0)
    assert parts.done == [TurnPage(1)]
    assert parts.said == ["only while standing"]
    parts.seen = {"vehicle.speed": 0.0}
    parts.hold(False, 0.2)
    parts.hold(True, 1.0)
    assert parts.done[1:] == [SetChoice("dashboard.night", True), TurnPage(1)]
    assert len(parts.said) == 1


def test_whether_the_car_moves_must_be_known_where_a_button_is_bound(tiny_plugin: TinyPlugin) -> None:
    assert Parts().fingers.wants == ()
    assert Parts(tiny_plugin(TURNS)).fingers.wants == ("engine.speed", "engine.running", "powertrain.ready")
