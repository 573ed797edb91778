"""What the owner wired, joined to the car: a witness for the ignition, push buttons, sources."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from importlib.metadata import EntryPoint

import pytest

from underdash.bus.guard import Guard
from underdash.contract.cars import BusDescription, CarDescription, IgnitionEvidence
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.signals import Quality, Value
from underdash.contract.sources import Input, InputKind
from underdash.loading import Loaded, load
from underdash.power.ignition import Position
from underdash.wiring.assembly import Assembly, assemble
from underdash.wiring.kept import car_mark
from underdash.wiring.key import Key

BROADCAST = BroadcastListener(
    "drive", 0x200, (Field("vehicle.ignition", Bits(0, 3, 2), values=((1, "OFF"), (3, "ON"))),), period_s=0.1
)
BARE = CarDescription("old", "Old", (BusDescription("drive", 500_000),), buttons=(("menu", "comfort"),))
TALKING = replace(
    BARE, broadcasts=(BROADCAST,), ignition=(IgnitionEvidence("vehicle.ignition", on=("ON",), off=("OFF",)),)
)
KEY = {"key": Input("vehicle.ignition", InputKind.GPIO, "GPIO17", inverted=True)}
STARTER = {"starter": Input("vehicle.ignition", InputKind.GPIO, "GPIO18", means="START")}
PUSH = {"push": Input("button.panel", InputKind.GPIO, "GPIO22")}


class Parts:
    """A key with wires whose word is put by hand."""

    def __init__(self, car: CarDescription = BARE, inputs: dict[str, Input] = KEY) -> None:
        self.assembly: Assembly = assemble(car, load({}), inputs=inputs)
        self.guard = Guard(())
        self.key = Key(self.assembly, self.guard)
        self.key.connect(self.assembly.tables)

    def position(self) -> Position:
        return self.key.state.position

    def wire(self, value: Value, at: float, name: str = "key") -> None:
        (wire,) = [one for one in self.assembly.wires if one.name == name]
        wire.slot.put(value, Quality.GOOD, at)

    def frame(self, data: bytes, at: float) -> None:
        self.assembly.tables["drive"][0x200](data, at)


ON, OFF = b"\x03", b"\x01"


def test_a_wire_says_that_the_ignition_is_on_and_off_at_once() -> None:
    parts = Parts()
    parts.wire("ON", 1.0)
    assert parts.position() is Position.ON
    assert parts.key.state.why == "ignition on (input key on low GPIO17 = ON)"
    parts.wire("OFF", 1.2)
    assert parts.position() is Position.OFF
    assert not parts.guard.ignition.may_send


def test_a_wire_that_is_not_looked_at_any_more_says_nothing() -> None:
    parts = Parts()
    parts.wire("ON", 1.0)
    assert parts.key.tick([], 2.9).may_send
    assert parts.key.tick([], 3.1).position is Position.UNKNOWN


@pytest.mark.parametrize(
    ("frame", "wire", "expected"),
    [(ON, "OFF", Position.OFF), (OFF, "ON", Position.OFF), (ON, "ON", Position.ON), (OFF, "OFF", Position.OFF)],
)
def test_a_frame_and_a_wire_are_two_witnesses_and_off_outranks_on(frame: bytes, wire: str, expected: Position) -> None:
    parts = Parts(TALKING)
    parts.frame(frame, 1.0)
    parts.wire(wire, 1.1)
    assert parts.key.state.position is expected
    parts.frame(frame, 1.2)
    assert parts.key.state.position is expected


def test_a_wire_is_no_bus_that_talks() -> None:
    parts = Parts()
    for step in range(20):
        parts.wire("ON", 1.0 + step / 2)
    assert not parts.key.ignition.talking(10.5)


def test_a_wire_proves_itself_only_while_a_bus_talks() -> None:
    parts = Parts()
    parts.wire("OFF", 1.0)
    parts.wire("ON", 2.0)
    assert not parts.guard.ignition_seen
    assert "input key on low GPIO17 on" in parts.key.ignition.unseen_text()
    parts.key.ignition.heard(3.0)
    parts.wire("ON", 3.1)
    assert not parts.guard.ignition_seen
    parts.wire("OFF", 3.2)
    assert parts.guard.ignition_seen


def test_a_wire_on_the_wrong_terminal_never_opens_what_the_frame_alone_would_have() -> None:
    """Every witness that can say ON has to be seen both ways, so one that is always ON keeps requests shut."""
    parts = Parts(TALKING)
    for at, data in enumerate((OFF, ON, OFF, ON)):
        parts.frame(data, float(at))
        parts.wire("ON", at + 0.5)
    assert not parts.guard.ignition_seen
    assert parts.key.ignition.unseen_text().startswith(
        "not seen yet while a bus was awake: input key on low GPIO17 not on"
    )


def test_the_starters_wire_shuts_sending_and_says_nothing_else() -> None:
    parts = Parts(inputs=KEY | STARTER)
    parts.wire("ON", 1.0)
    parts.wire("START", 1.5, "starter")
    assert parts.key.state.position is Position.START
    parts.wire("ON", 3.6)
    assert not parts.key.state.may_send
    parts.wire("ON", 5.7)
    assert parts.key.state.may_send


def test_another_line_or_level_has_to_be_seen_anew() -> None:
    other = {"key": replace(KEY["key"], inverted=False)}
    marks = {car_mark(assemble(BARE, load({}), inputs=inputs).car) for inputs in ({}, KEY, other)}
    assert len(marks) == 3


PLUGIN = """
@hookimpl
def inputs():
    return [Input("vehicle.ignition", InputKind.GPIO, "GPIO5")]
@hookimpl
def button_handlers(car):
    own = [name for name, use in car.buttons if use == "wired"]
    return [ButtonHandler(name, GestureKind.PRESS, lambda gesture, seen: []) for name in own]
"""


def tiny(tiny_plugin: Callable[..., EntryPoint]) -> Loaded:
    return load({"tiny": {}}, [tiny_plugin(PLUGIN)])


def test_a_plugin_may_not_say_which_wire_is_the_ignition(tiny_plugin: Callable[..., EntryPoint]) -> None:
    assembly = assemble(BARE, tiny(tiny_plugin))
    assert assembly.wires == []
    assert "only your own configuration may say which wire that is" in assembly.problems[0]


def test_plugins_see_wired_buttons_among_those_of_the_car(tiny_plugin: Callable[..., EntryPoint]) -> None:
    assembly = assemble(BARE, tiny(tiny_plugin), inputs=PUSH)
    assert [handler.button for handler in assembly.bindings.handlers] == ["panel"]
    assert assembly.bindings.warnings == []
    assert assembly.car.buttons == (("menu", "comfort"), ("panel", "wired"))


def test_a_wired_button_needs_a_name_that_the_car_has_not() -> None:
    assembly = assemble(BARE, load({}), inputs={"push": Input("button.menu", InputKind.GPIO, "GPIO22")})
    assert assembly.wires == []
    assert assembly.problems == [
        "input push is left out: the car has a button.menu of its own; give the wired one another name"
    ]


def test_a_sensor_may_be_evidence_that_the_description_names() -> None:
    """A wire may feed evidence: here the charging voltage, which a converter measures."""
    car = replace(BARE, ignition=(IgnitionEvidence("low_voltage_battery.voltage", above=13.2),))
    volts = Input("low_voltage_battery.voltage", InputKind.IIO, "ads1015", "in_voltage0", divider=(47e3, 10e3))
    parts = Parts(car, {"battery": volts})
    parts.wire(14.1, 1.0, "battery")
    assert parts.key.state.position is Position.ON


def test_where_no_bus_talks_by_itself_a_person_lets_the_wire_prove_itself() -> None:
    """Somebody vouches once; then answers are heard while the wire says ON, and the key is turned off soon after."""
    parts = Parts()
    parts.wire("ON", 1.0)
    assert (parts.guard.ignition_seen, parts.key.state.attended) == (False, False)
    parts.key.ignition.vouch(1.1)
    parts.wire("ON", 1.5)
    assert (parts.guard.ignition_seen, parts.key.state.attended) == (False, True)
    parts.key.ignition.heard(2.0)  # an answer
    parts.wire("ON", 2.1)
    parts.wire("OFF", 4.0)
    assert (parts.guard.ignition_seen, parts.key.state.attended) == (True, False)
