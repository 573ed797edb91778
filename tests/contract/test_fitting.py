from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from http import HTTPStatus
from types import SimpleNamespace
from typing import Any

import pytest

from underdash.bus.vetting import MakerEvidence
from underdash.contract.buttons import Acknowledge, ButtonHandler, GestureKind
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.fitting import misfit
from underdash.contract.layout import Bits, BroadcastListener, Counter, Field
from underdash.contract.pages import Alert, Page
from underdash.contract.plugin import PluginInfo
from underdash.contract.requests import Answer, ControlUnit, PollRequest, Protocol
from underdash.contract.signals import Signal
from underdash.contract.sources import Derived
from underdash.loading import HOOKS, Loaded, LoadedPlugin
from underdash.wiring.assembly import assemble
from underdash.wiring.sending import make_guard

SPEED = Field("engine.speed", Bits(0))
POLL = PollRequest("engine", "code", 3, (SPEED,), 0.1)
CAR = CarDescription(
    "any", "Any", (BusDescription("drive", 500_000),), units=(ControlUnit("engine", "drive", 0x7E0, 0x7E8),)
)
SOUND: dict[str, Any] = {
    "signals": Signal("odd.x", "kPa", "a pressure"),
    "poll_requests": replace(POLL, protocol="identifier_22"),
    "broadcast_listeners": BroadcastListener("drive", 0x123, (SPEED,), counter=Counter(Bits(1))),
    "request_protocols": Protocol("code", lambda unit, number: bytes((2, 0xB4, number)), lambda *_: None, (2,), 1),
    "derived_signals": Derived("engine.boost_pressure", ("engine.speed",), lambda state, inputs, dt_s: (state, None)),
    "display_pages": Page("all", "All", lambda canvas, snapshot: None, ("engine.speed",)),
    "alerts": Alert("hot", "engine.coolant_temperature", "hot", above=110.0),
    "button_handlers": ButtonHandler("menu", GestureKind.HOLD, lambda gesture, snapshot: (Acknowledge(),), 1.0),
}
ODD: tuple[Any, ...] = (None, "x", -1, 3.5, True, 10**30, (), (None,), ("x",), (1, 2, 3), b"x", [], {}, object(), [[]])


def daemon_of(brings: dict[str, Any]) -> list[str]:
    """Start with what a plug-in brings; returns why it was refused."""
    calls: Any = {
        hook: SimpleNamespace(function=lambda item=item: [item], argnames=()) for hook, item in brings.items()
    }
    assembly = assemble(CAR, Loaded((LoadedPlugin("odd", PluginInfo("odd"), None, "", 0.0, calls),)))
    make_guard(assembly, evidence=MakerEvidence())
    assembly.snapshot(1.0)
    return [one.reason for one in assembly.loaded.refused]


PLACES = [(hook, one.name) for hook, item in SOUND.items() for one in fields(item)]


@pytest.mark.parametrize(("hook", "name"), PLACES)
def test_no_value_of_any_field_that_a_plug_in_declares_stops_the_daemon_at_its_start(hook: str, name: str) -> None:
    others = {"poll_requests": POLL} if hook == "request_protocols" else {}
    for value in ODD:
        daemon_of({**others, hook: replace(SOUND[hook], **{name: value})})


@pytest.mark.parametrize("hook", SOUND)
def test_what_is_sound_is_not_refused(hook: str) -> None:
    assert daemon_of({hook: SOUND[hook]}) == []
    assert is_dataclass(SOUND[hook])
    assert isinstance(SOUND[hook], HOOKS[hook].items)


@pytest.mark.parametrize(
    ("item", "says"),
    [
        (replace(POLL, identifier="21C7"), "identifier is '21C7' (str), it has to be a whole number"),  # type: ignore[arg-type]
        (
            replace(POLL, identifier=HTTPStatus.OK),
            "identifier is <HTTPStatus.OK: 200> (HTTPStatus), it has to be a whole number",
        ),
        (replace(POLL, period_s=True), "period_s is True (bool), it has to be a number"),
        (replace(POLL, period_s=1), ""),
        (replace(SOUND["display_pages"], needs="engine.speed"), "needs is 'engine.speed' (str), it has to be a tuple"),
        (replace(POLL, fields=(SPEED, 3)), "fields[1] is 3 (int), it has to be a Field"),  # type: ignore[arg-type]
        (
            replace(POLL, fields=(replace(SPEED, bits=Bits("0")),)),  # type: ignore[arg-type]
            "fields[0].bits.byte is '0' (str), it has to be a whole number",
        ),
        (replace(SPEED, values=((0, "OFF"), (1,))), "values[1] is (1,), it has to have 2 parts"),  # type: ignore[arg-type]
        (
            replace(SPEED, present_if=Bits(1, bit=2.0)),  # type: ignore[arg-type]
            "present_if.bit is 2.0 (float), it has to be a whole number or None",
        ),
        (
            replace(SOUND["button_handlers"], kind="hold"),
            "kind is 'hold' (str), it has to be a GestureKind, such as GestureKind.PRESS",
        ),
        (replace(SOUND["button_handlers"], on=None), "on is None (NoneType), it has to be a function"),
        (Answer(1, "ab"), "data is 'ab' (str), it has to be bytes"),  # type: ignore[arg-type]
        (Answer(None, b"\x01"), ""),
    ],
)  # fmt: skip
def test_a_field_that_is_not_of_its_type_is_named_with_what_was_found_and_what_it_has_to_be(
    item: object, says: str
) -> None:
    assert misfit(item) == says
