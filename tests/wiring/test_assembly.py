"""What turns frames into readings, put together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any

import pytest

from underdash.config.mistakes import ConfigError
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.errors import GivenError
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.contract.signals import Signal
from underdash.loading import Loaded, load
from underdash.wiring.assembly import BUNDLED, Assembly, assemble, choose_car, load_bundled

TinyPlugin = Callable[..., EntryPoint]

CAR = CarDescription(
    "small",
    "Small",
    (BusDescription("drive", 500_000),),
    units=(ControlUnit("engine", "drive", 0x7E0, 0x7E8),),
    broadcasts=(BroadcastListener("drive", 0x101, (Field("engine.speed", Bits(0, 16)),), period_s=0.1),),
    polls=(PollRequest("engine", "service_01", 0x0B, ()), PollRequest("engine", "service_01", 0x05, ())),
)

PAGES = """
@hookimpl
def signals():
    return [Signal("tiny.double", "rpm", "twice the speed")]

@hookimpl
def derived_signals():
    def step(state, inputs, dt_s):
        value = inputs["engine.speed"].value
        return state, None if value is None else Result(2.0 * value)
    return [Derived("tiny.double", ("engine.speed",), step)]

@hookimpl
def display_pages():
    return [Page("tiny", "Tiny", lambda canvas, snapshot: None, ("tiny.double", "engine.oil_temperature"),
                 peaks=("tiny.double",))]
"""


def with_tiny(point: EntryPoint) -> Loaded:
    return load({"tiny": {}}, [point])


def test_frames_answers_and_sums_become_readings(tiny_plugin: TinyPlugin) -> None:
    assembly = assemble(CAR, with_tiny(tiny_plugin(PAGES)), units={"kPa": "bar"})
    assert assembly.problems == []
    assembly.tables["drive"][0x101](bytes.fromhex("03E8"), 10.0)
    assembly.tables["drive"][0x7E8](bytes.fromhex("03410B6400000000"), 10.0)
    seen = assembly.snapshot(10.05)
    assert seen.reading("engine.speed").value == 1000.0
    assert seen.reading("engine.manifold_pressure").text == "1.00"
    assert seen.reading("tiny.double").value == 2000.0
    assert seen.stored_peaks == {"tiny.double": 2000.0}
    assert seen.reading("engine.coolant_temperature").value is None


def test_what_does_not_fit_is_left_out_and_told_and_the_rest_runs(tiny_plugin: TinyPlugin) -> None:
    source = """
@hookimpl
def broadcast_listeners():
    return [BroadcastListener("nosuch", 0x1, (Field("engine.speed", Bits(0)),))]

@hookimpl
def poll_requests():
    return [PollRequest("nobody", "service_01", 0x0C, ())]

@hookimpl
def derived_signals():
    return [Derived("nobody.declared", ("engine.speed",), lambda state, inputs, dt_s: (state, None))]
"""
    assembly = assemble(CAR, with_tiny(tiny_plugin(source)))
    text = " | ".join(assembly.problems)
    assert len(assembly.problems) == 3
    assert all(word in text for word in ("nosuch", "nobody", "nobody.declared of plug-in tiny"))
    assembly.tables["drive"][0x101](bytes.fromhex("03E8"), 1.0)
    assert assembly.store.read("engine.speed", 1.0).value == 1000.0


def test_a_plug_in_whose_hook_raises_brings_nothing_and_is_named(tiny_plugin: TinyPlugin) -> None:
    raising = "\n@hookimpl\ndef alerts():\n    raise RuntimeError('broken')\n"
    assembly = assemble(CAR, with_tiny(tiny_plugin(PAGES + raising)))
    assert assembly.pages == []
    assert [one.name for one in assembly.loaded.refused] == ["tiny"]
    assert "broken" in assembly.loaded.refused[0].reason


def test_the_bundled_plug_ins_all_load_on_each_invented_car() -> None:
    loaded = load_bundled()
    assert not loaded.refused
    assert {plugin.name for plugin in loaded.plugins} == set(BUNDLED)
    for name in ("tarn", "loris"):
        car, after = choose_car(name, loaded)
        assert car.name == name
        assembly: Assembly = assemble(car, after)
        assert {page.name for page in assembly.pages} == {
            "boost",
            "temperatures",
            "ignition_timing",
            "battery",
            "traction_battery",
        }
        assert assembly.problems == []


def test_a_car_can_be_a_file(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(
        'format = 1\nname = "own"\ntitle = "Own"\ncounting = "from 0"\norigin = "me"\n[bus.drive]\nbitrate = 500_000\n'
    )
    assert choose_car(str(path), load({}))[0].name == "own"


OWN = """\
format = 1
name = "own"
title = "Own"
counting = "from 0"
[bus.drive]
bitrate = 500_000
[[broadcast]]
bus = "drive"
id = "100"
fields = [{ signal = "vehicle.ignition", byte = 0, values = { 3 = "ON" } }, { signal = "unheard.of", byte = 1 }]
[[ignition]]
signal = "vehicle.ignition"
on = ["ON"]
"""


def test_a_signal_nobody_declares_costs_its_field_only(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(OWN)
    car, loaded = choose_car(str(path), load({}))
    assert any("unheard.of" in problem for problem in assemble(car, loaded).problems)


def test_what_does_not_suit_a_signal_is_a_mistake_and_then_the_undeclared_one_is_told_too(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(OWN.replace('on = ["ON"]', 'on = ["Run"]'))
    with pytest.raises(ConfigError) as caught:
        choose_car(str(path), load({}))
    first, second = caught.value.mistakes
    assert (first.key, first.found) == ("broadcast#1.fields#2.signal", "'unheard.of'")
    assert (second.key, second.found, second.allowed) == ("ignition#1.on#1", "'Run'", "LOCK, OFF, ACC, ON, START")


@pytest.mark.parametrize(
    ("wanted", "says"), [("tran", "Did you mean tarn"), ("zzz", "Cars are: loris, tarn"), ("nosuch.toml", "cannot be")]
)
def test_a_car_that_nobody_brings_is_told(wanted: str, says: str) -> None:
    with pytest.raises(GivenError, match=says):
        choose_car(wanted, load_bundled())


def test_without_any_car_it_says_how_to_get_one() -> None:
    with pytest.raises(GivenError, match="none; enable a plug-in that brings one"):
        choose_car("tarn", load({}))


WIRED = """
@hookimpl
def inputs():
    return [Input("dashboard.night", InputKind.GPIO, "GPIO22")]
"""


def test_an_input_that_a_plugin_brings_is_a_source(tiny_plugin: TinyPlugin) -> None:
    assembly = assemble(CAR, with_tiny(tiny_plugin(WIRED)))
    assert [slot.source for slot in assembly.store.slots("dashboard.night")] == ["input dashboard.night of tiny"]
    assert assembly.problems == []


HANDLERS = """
@hookimpl
def button_handlers():
    def nothing(gesture, snapshot): return []
    return [
        ButtonHandler("menu", GestureKind.HOLD, nothing, hold_s=0.0),
        ButtonHandler("up", GestureKind.PRESS, nothing),
        ButtonHandler("up", GestureKind.PRESS, nothing),
    ]
"""


def test_button_handlers_that_cannot_be_used_are_told(tiny_plugin: TinyPlugin) -> None:
    assembly = assemble(CAR, with_tiny(tiny_plugin(HANDLERS)))
    assert len(assembly.bindings.handlers) == 1
    assert any("hold_s is 0" in problem for problem in assembly.problems)
    assert any("cannot both be had" in problem for problem in assembly.problems)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"request_id": 0x12345678}, "it is asked on 12345678, and the last id is 7FF with 11 bits"),
        ({"response_id": 0x4000_07E8}, "it answers on 400007E8, and the last id is 7FF with 11 bits"),
        ({"request_id": 0x2000_0000, "extended": True}, "asked on 20000000, and the last id is 1FFFFFFF with 29 bits"),
        ({"padding": 999}, "it has 999 as its padding, which has to be a byte"),
        ({"block_size": 256}, "it has 256 as its block_size, which has to be a byte"),
        ({"address": -1}, "it has -1 as its address, which has to be a byte"),
    ],
)
def test_a_unit_in_code_that_no_frame_can_speak_to_is_left_out_and_named(changes: dict[str, Any], says: str) -> None:
    unit = replace(CAR.units[0], **changes)
    assembly = assemble(replace(CAR, units=(unit,)), Loaded(()))
    assert assembly.compiled.templates == []
    assert any(says in problem for problem in assembly.problems), assembly.problems


def test_a_frame_in_code_with_an_id_that_is_none_is_left_out_and_named() -> None:
    odd = BroadcastListener("drive", 10**12, (Field("engine.load", Bits(0)),))
    assembly = assemble(replace(CAR, broadcasts=(*CAR.broadcasts, odd)), Loaded(()))
    assert any("E8D4A51000 is no id of 11 bits" in problem for problem in assembly.problems), assembly.problems
    assert list(assembly.tables["drive"]) == list(assemble(CAR, Loaded(())).tables["drive"])


def test_what_has_to_be_asked_for_is_known_with_what_is_computed_from_it(tiny_plugin: TinyPlugin) -> None:
    assembly = assemble(CAR, with_tiny(tiny_plugin(PAGES)))
    assert {"engine.manifold_pressure", "engine.coolant_temperature"} <= assembly.polled
    assert not {"engine.speed", "tiny.double"} & assembly.polled
    assembly = assemble(
        replace(CAR, broadcasts=(), polls=(PollRequest("engine", "service_01", 0x0C, ()),)),
        with_tiny(tiny_plugin(PAGES)),
    )
    assert assembly.polled == {"engine.speed", "tiny.double"}


def test_a_signal_that_a_description_declares_is_read_like_any_other() -> None:
    own = Signal("car.fan_stage", "%", "stage of the fan", low=0.0, high=100.0)
    fed = BroadcastListener("drive", 0x102, (Field("car.fan_stage", Bits(0)),))
    assembly = assemble(replace(CAR, signals=(own,), broadcasts=(fed,)), Loaded())
    assembly.tables["drive"][0x102](b"\x32", 1.0)
    reading = assembly.snapshot(1.0).reading("car.fan_stage")
    assert (reading.value, reading.unit, assembly.problems) == (50.0, "%", [])
