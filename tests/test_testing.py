from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable, Mapping
from importlib.metadata import EntryPoint
from typing import Any

import pytest

from underdash import (
    Age,
    Bits,
    BroadcastListener,
    ButtonHandler,
    Canvas,
    Derived,
    Field,
    GestureKind,
    Page,
    PollRequest,
    PowerState,
    Quality,
    Reading,
    Result,
    Scale,
    Signal,
    Snapshot,
    TurnPage,
    UnderdashError,
    testing,
)

TinyPlugin = Callable[..., EntryPoint]
BOOST = "engine.boost_pressure"
SPEED = BroadcastListener("drive", 0x1A0, (Field("vehicle.speed", Bits(0, 16), scale=0.01),), period_s=0.02)


def test_a_fake_clock_moves_when_told_and_never_back() -> None:
    clock = testing.FakeClock(5.0)
    assert clock.advance(1.5) == clock() == clock.now == 6.5
    with pytest.raises(ValueError, match="cannot go back"):
        clock.advance(-1.0)


def test_a_plugin_is_loaded_with_its_settings_and_asked(tiny_plugin: TinyPlugin) -> None:
    point = tiny_plugin(
        "@dataclass(frozen=True)\nclass Settings:\n    name: str = 'x'\n"
        "@hookimpl\ndef signals(settings): return [Signal('tiny.' + settings.name, '', 'x')]\n"
        "@hookimpl\ndef alerts(car): return [car]\n"
    )
    plugin = testing.load_plugin(point.value, {"name": "y"}, name="tiny")
    assert [one.name for one in testing.brought(plugin, "signals")] == ["tiny.y"]
    assert testing.brought(plugin, "inputs") == []
    with pytest.raises(UnderdashError, match=r"alerts returned .*\(CarDescription\) as item 0"):
        testing.brought(plugin, "alerts")
    with pytest.raises(UnderdashError, match="its settings do not fit"):
        testing.load_plugin(point.value, {"nome": "y"}, name="tiny")


def test_a_snapshot_shows_values_in_the_owners_unit_with_age_and_quality() -> None:
    seen = testing.snapshot(
        {BOOST: 80, "engine.oil_temperature": 90.0, "vehicle.speed": 50.0, "engine.running": True, "fuel.level": None},
        units={"kPa": "bar"},
        ages={"engine.oil_temperature": Age.LATE, "vehicle.speed": Age.GONE},
        qualities={BOOST: Quality.ASSUMED},
        peaks={BOOST: 120.0},
        power=PowerState.LINGERING,
        night=True,
        hold=0.5,
        notes=("no requests",),
    )
    boost = seen.reading(BOOST)
    assert (boost.text, boost.unit, boost.quality, boost.age) == ("0.80", "bar", Quality.ASSUMED, Age.FRESH)
    oil = seen.reading("engine.oil_temperature")
    assert (oil.age, oil.value) == (Age.LATE, 90.0)
    for gone in ("vehicle.speed", "fuel.level", "engine.speed"):
        assert seen.reading(gone).age is Age.GONE
    assert seen.reading("engine.running").value is True
    assert (seen.night, seen.hold, seen.power, seen.notes) == (True, 0.5, PowerState.LINGERING, ("no requests",))
    assert seen.stored_peaks == {BOOST: 120.0}


def test_peaks_and_histories_are_shown_in_the_owners_unit_whether_or_not_there_is_a_value() -> None:
    units = {"kPa": "bar", "degC": "degF"}
    history = {BOOST: ((2.0, 50.0), (1.0, 72.0)), "engine.oil_temperature": ((1.0, 100.0),)}
    seen = testing.snapshot({BOOST: 80.0}, units=units, histories=history, peaks={"engine.charge_pressure": 210.0})
    assert [number for point in seen.history(BOOST) for number in point] == pytest.approx([2.0, 0.5, 1.0, 0.72])
    ((_, oil),) = seen.history("engine.oil_temperature")
    assert oil == pytest.approx(212.0)
    assert seen.peak("engine.charge_pressure") == pytest.approx(2.1)
    assert (seen.history("fuel.level"), seen.peak("fuel.level")) == ((), None)


@pytest.mark.parametrize("points", [((1.0, 50.0), (2.0, 72.0)), ((-1.0, 50.0),), ((math.nan, 1.0),)])
def test_a_history_that_no_daemon_could_keep_is_refused(points: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(UnderdashError, match=r"engine.boost_pressure has a point .* the oldest first"):
        testing.snapshot({}, histories={BOOST: points})


def test_units_that_do_not_fit_are_refused() -> None:
    for unit, why in (
        ("degF", "'kPa' measures pressure, 'degF' measures temperature"),
        ("barr", "'barr' is not known"),
    ):
        with pytest.raises(UnderdashError, match=why):
            testing.snapshot({BOOST: 80.0}, units={BOOST: unit})


def test_a_snapshot_of_nonsense_is_refused() -> None:
    with pytest.raises(UnderdashError, match=r"did you mean 'engine\.boost_pressure'"):
        testing.snapshot({"engine.bost_pressure": 1.0})
    with pytest.raises(UnderdashError, match=r"vehicle.speed is 5000.0, plausible is 0.0 to 420.0 km/h"):
        testing.snapshot({"vehicle.speed": 5000.0})
    own = Signal("tiny.word", "", "own")
    assert testing.snapshot({"tiny.word": 3.0}, signals=[own]).number("tiny.word") == 3.0


def test_a_page_is_drawn_to_a_picture_that_follows_the_value() -> None:
    def show(canvas: Canvas, seen: Snapshot) -> None:
        canvas.sweep(seen.reading(BOOST), Scale(-100.0, 200.0, 0.0))
        canvas.figure(seen.reading(BOOST), signed=True)
        canvas.title("boost")

    page = Page("boost", "Boost", show, (BOOST,))
    first, second = (testing.draw(page, testing.snapshot({BOOST: value})) for value in (20.0, 120.0))
    assert first.size == (240, 240)
    assert first.tobytes() != second.tobytes()
    assert testing.draw(page, testing.snapshot({}), (160, 128), night=True).size == (160, 128)


def test_a_derived_signal_is_stepped_through_a_series() -> None:
    def total(state: float, inputs: Mapping[str, Reading], dt_s: float) -> tuple[float, Result | None]:
        speed = inputs["vehicle.speed"].value
        if not isinstance(speed, float):
            return state, None
        state += speed * dt_s
        return state, Result(state)

    item = Derived("tiny.way", ("vehicle.speed",), total, state=0.0)
    given: list[tuple[float, Mapping[str, Any]]] = [
        (0.0, {"vehicle.speed": 10.0}),
        (1.0, {}),
        (3.0, {"vehicle.speed": 5.0}),
        (4.0, {"vehicle.speed": None}),
    ]
    assert testing.run_derived(item, given) == [Result(0.0), Result(10.0), Result(20.0), None]


def test_an_answer_is_decoded() -> None:
    request = PollRequest("engine", "service_01", 0x05, (Field("engine.coolant_temperature", Bits(0), offset=-40.0),))
    assert testing.read_answer(request, b"\x7b") == {"engine.coolant_temperature": 83.0}
    assert testing.read_answer(request, b"") == {}


def test_frames_on_a_fake_bus_reach_the_listeners_and_age_with_its_clock() -> None:
    with testing.FakeBus([SPEED], units={"km/h": "mph"}) as bus:
        assert bus.reading("vehicle.speed").age is Age.GONE
        bus.send("drive", 0x1A0, bytes.fromhex("2710"))
        bus.send("drive", 0x1A1, bytes.fromhex("FFFF"))
        bus.send("drive", 0x1A0, bytes.fromhex("FFFF"), extended=True)
        reading = bus.reading("vehicle.speed")
        assert (reading.value, reading.text, reading.age) == (100.0, "62", Age.FRESH)
        bus.clock.advance(0.5)
        assert bus.snapshot().reading("vehicle.speed").age is Age.LATE
        with pytest.raises(UnderdashError, match="no listener is on a bus 'comfort'; there are drive"):
            bus.send("comfort", 1, b"")


def test_a_listener_that_cannot_be_used_is_named() -> None:
    with pytest.raises(UnderdashError, match=r"warp\.factor"):
        testing.FakeBus([BroadcastListener("drive", 1, (Field("warp.factor", Bits(0)),))])


@pytest.mark.parametrize("kind", list(GestureKind))
def test_every_kind_of_gesture_reaches_its_handler(kind: GestureKind) -> None:
    handlers = [ButtonHandler("up", kind, lambda gesture, seen: [TurnPage(1)])]
    assert testing.perform(handlers, "up", kind) == (TurnPage(1),)
    assert testing.perform(handlers, "down", kind) == ()


def test_a_hold_is_not_a_press() -> None:
    handlers = [
        ButtonHandler("up", GestureKind.PRESS, lambda gesture, seen: [TurnPage(1)]),
        ButtonHandler("up", GestureKind.HOLD, lambda gesture, seen: [TurnPage(-1)], hold_s=2.0),
    ]
    assert testing.perform(handlers, "up", GestureKind.PRESS) == (TurnPage(1),)
    assert testing.perform(handlers, "up", GestureKind.HOLD) == (TurnPage(-1),)


def test_a_handler_that_raises_or_cannot_be_used_is_told() -> None:
    with pytest.raises(UnderdashError, match="ZeroDivisionError"):
        testing.perform([ButtonHandler("up", GestureKind.PRESS, lambda g, s: [1 / 0])], "up", GestureKind.PRESS)  # type: ignore[list-item]
    with pytest.raises(UnderdashError, match="hold_s is 0"):
        testing.perform([ButtonHandler("up", GestureKind.HOLD, lambda g, s: [], hold_s=0)], "up", GestureKind.HOLD)


def test_importing_it_loads_neither_pillow_nor_python_can() -> None:
    code = "import sys, underdash.testing; print(sorted({'PIL', 'can', 'numpy'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"
