"""Every hook, asked of a tiny plug-in the way the daemon asks it."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any

import pytest

from underdash import (
    Alert,
    Answer,
    BroadcastListener,
    BusDescription,
    ButtonHandler,
    CarDescription,
    CarFile,
    ControlUnit,
    Derived,
    GestureKind,
    Input,
    InputKind,
    Page,
    PanelDriver,
    PluginInfo,
    PollRequest,
    PowerState,
    Protocol,
    Result,
    Signal,
)
from underdash.collecting import PowerCalls, collect
from underdash.loading import Loaded, load

Ask = Callable[..., list[Any]]
CAR = CarDescription(
    "car", "A car", (BusDescription("drive", 500_000),), (ControlUnit("engine", "drive", 0x7E0, 0x7E8),)
)
SETTINGS = """
@dataclass(frozen=True)
class Settings:
    word: str = "default"
"""


@pytest.fixture
def loaded(tiny_plugin: Callable[..., EntryPoint]) -> Callable[[str], Loaded]:
    """Loads a module with this source as the plug-in "tiny", with settings word = "given"."""

    def make(source: str) -> Loaded:
        result = load({"tiny": {"word": "given"}}, [tiny_plugin(SETTINGS + source)])
        assert result.refused == ()
        return result

    return make


@pytest.fixture
def ask(loaded: Callable[[str], Loaded]) -> Ask:
    """Returns what a hook of such a plug-in brings."""

    def asked(hook: str, source: str, **given: object) -> list[Any]:
        collected = collect(loaded(source), hook, **given)
        assert collected.refused == ()
        assert {owner for owner, _ in collected.items} == {"tiny"}
        return [item for _, item in collected.items]

    return asked


def test_hook_plugin(loaded: Callable[[str], Loaded]) -> None:
    (plugin,) = loaded("@hookimpl\ndef plugin(): return PluginInfo('about it', settings=Settings)").plugins
    assert isinstance(plugin.info, PluginInfo)
    assert (plugin.info.about, plugin.settings.word) == ("about it", "given")


def test_hook_cars(ask: Ask) -> None:
    first, second = ask(
        "cars",
        "from pathlib import Path\n@hookimpl\ndef cars():\n"
        "    return [CarFile(Path('one.toml')), CarDescription('two', 'Two', ())]",
    )
    assert first == CarFile(Path("one.toml"))
    assert second == CarDescription("two", "Two", ())


def test_hook_signals(ask: Ask) -> None:
    brought = ask(
        "signals", "@hookimpl\ndef signals(settings): return [Signal('tiny.' + settings.word, '%', 'a share')]"
    )
    assert brought == [Signal("tiny.given", "%", "a share")]


def test_hook_poll_requests(ask: Ask) -> None:
    (request,) = ask(
        "poll_requests",
        "@hookimpl\ndef poll_requests(car, settings):\n"
        "    field = Field('engine.oil_temperature', Bits(0), offset=-40.0)\n"
        "    return [PollRequest(car.units[0].name, 'service_01', 0x5C, (field,), note=settings.word)]",
        car=CAR,
    )
    assert isinstance(request, PollRequest)
    assert (request.unit, request.identifier, request.note) == ("engine", 0x5C, "given")


def test_hook_broadcast_listeners(ask: Ask) -> None:
    (listener,) = ask(
        "broadcast_listeners",
        "@hookimpl\ndef broadcast_listeners(car):\n"
        "    return [BroadcastListener(car.buses[0].role, 0x1A0, (Field('vehicle.speed', Bits(2, 16)),))]",
        car=CAR,
    )
    assert isinstance(listener, BroadcastListener)
    assert (listener.bus, listener.id) == ("drive", 0x1A0)


def test_hook_inputs(ask: Ask) -> None:
    line = "Input('dashboard.night', InputKind.GPIO, settings.word)"
    brought = ask("inputs", f"@hookimpl\ndef inputs(settings): return [{line}]")
    assert brought == [Input("dashboard.night", InputKind.GPIO, "given")]


def test_hook_derived_signals(ask: Ask) -> None:
    (derived,) = ask(
        "derived_signals",
        "def step(state, inputs, dt_s): return state, Result(1.0)\n"
        "@hookimpl\ndef derived_signals(): return [Derived('engine.boost_pressure', ('ambient.pressure',), step)]",
        car=CAR,
    )
    assert isinstance(derived, Derived)
    assert derived.step(None, {}, 0.0) == (None, Result(1.0))


def test_hook_request_protocols(ask: Ask) -> None:
    (protocol,) = ask(
        "request_protocols",
        "def encode(unit, identifier): return bytes([4, unit.address or 0, 0xB4, identifier])\n"
        "def decode(unit, payload): return Answer(payload[3], payload[4:])\n"
        "@hookimpl\ndef request_protocols(settings):\n"
        "    return [Protocol(settings.word, encode, decode, identifier_bytes=(3,), command_byte=2)]",
    )
    assert isinstance(protocol, Protocol)
    assert protocol.name == "given"
    assert protocol.encode(CAR.units[0], 7) == bytes([4, 0, 0xB4, 7])
    assert protocol.decode(CAR.units[0], bytes([4, 0, 0xE6, 7, 9])) == Answer(7, b"\x09")


def test_hook_display_pages(ask: Ask) -> None:
    (page,) = ask(
        "display_pages",
        "@hookimpl\ndef display_pages(settings):\n"
        "    def draw(canvas, snapshot): canvas.title(settings.word)\n"
        "    return [Page('tiny', 'Tiny', draw, ('engine.speed',))]",
        car=CAR,
    )
    assert isinstance(page, Page)
    assert page.needs == ("engine.speed",)


def test_hook_alerts(ask: Ask) -> None:
    brought = ask(
        "alerts",
        "@hookimpl\ndef alerts(car): return [Alert('hot', 'gearbox.oil_temperature', 'hot', above=125.0)]",
        car=CAR,
    )
    assert brought == [Alert("hot", "gearbox.oil_temperature", "hot", above=125.0)]


def test_hook_button_handlers(ask: Ask) -> None:
    (handler,) = ask(
        "button_handlers",
        "@hookimpl\ndef button_handlers(car, settings):\n"
        "    return [ButtonHandler(settings.word, GestureKind.HOLD, lambda gesture, snapshot: [TurnPage()])]",
        car=CAR,
    )
    assert isinstance(handler, ButtonHandler)
    assert (handler.button, handler.kind) == ("given", GestureKind.HOLD)


def test_hook_panel_drivers(ask: Ask) -> None:
    (driver,) = ask(
        "panel_drivers", "@hookimpl\ndef panel_drivers(): return [PanelDriver('mirror', lambda table: table)]"
    )
    assert isinstance(driver, PanelDriver)
    assert driver.opened({"a": 1}) == {"a": 1}


def test_hook_power_changed(loaded: Callable[[str], Loaded]) -> None:
    plugins = loaded("told = []\n@hookimpl\ndef power_changed(state): told.append(state)")

    def failed(name: str, reason: str, suspended: bool) -> None:
        raise AssertionError(reason)

    PowerCalls(plugins, failed).tell(PowerState.ASLEEP)
    module = importlib.import_module(plugins.plugins[0].calls["plugin"].function.__module__)
    assert module.told == [PowerState.ASLEEP]
