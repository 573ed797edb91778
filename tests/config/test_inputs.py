"""`[input.<name>]`: what may stand there, and what is doubtful about wires that are each without mistakes."""

from __future__ import annotations

import pytest

from underdash.config.checking import Finding, Level, explain
from underdash.config.mistakes import ConfigError
from underdash.config.reading import parse_config
from underdash.config.schema import Config
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.sources import InputKind, Pull
from underdash.loading import load
from underdash.signals.catalogue import CATALOGUE
from underdash.wiring.assembly import assemble

HEAD = 'format = 1\n[car]\nname = "old"\n[power]\nsupply = "held"\n'
KEY = '[input.key]\nkind = "gpio"\nsignal = "vehicle.ignition"\nline = "GPIO17"\npull = "down"\n'
ADC = '[input.oil]\nkind = "iio"\nsignal = "engine.oil_temperature"\ndevice = "ads1015"\nchannel = "in_voltage0"\n'
CAR = CarDescription("old", "Old", (BusDescription("drive", 500_000),))


def parsed(text: str) -> Config:
    return parse_config(HEAD + text, signals=CATALOGUE)


def found(text: str, car: CarDescription = CAR) -> list[Finding]:
    config = parsed(text)
    return explain(config, assemble(car, load({}), inputs=config.inputs).car)


def test_a_line_becomes_an_input() -> None:
    key = parsed(KEY).inputs["key"]
    assert (key.kind, key.place, key.pull, key.means) == (InputKind.GPIO, "GPIO17", Pull.DOWN, "ON")


@pytest.mark.parametrize(("kind", "period_s"), [("iio", 1.0), ("one_wire", 5.0)])
def test_a_sensor_is_read_at_the_usual_period_of_its_kind(kind: str, period_s: float) -> None:
    channel = 'device = "x"\nchannel = "in_temp"\n' if kind == "iio" else ""
    text = f'[input.a]\nkind = "{kind}"\nsignal = "ambient.temperature"\n{channel}'
    assert parsed(text).inputs["a"].period_s == period_s
    assert parsed(f"{text}period_s = 0.5\n").inputs["a"].period_s == 0.5


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (KEY.replace("gpio", "gpoi"), "input.key.kind: found 'gpoi'"),
        (KEY.replace("vehicle.ignition", "vehicle.igniton"), "vehicle.ignition"),
        (KEY.replace('line = "GPIO17"\n', ""), '`line`, such as "GPIO17"'),
        (KEY.replace('"down"', '"up"'), "so that a broken wire of the ignition reads as off"),
        (KEY + "inverted = true\n", '`pull = "up"`, so that a broken wire'),
        (KEY + 'channel = "in1"\n', 'no `channel`, which is not for kind = "gpio"'),
        (KEY + "debounce_s = 5.0\n", "debounce_s"),
        (KEY + 'means = "ACC"\n', '"ON", "START"'),
        (KEY.replace("vehicle.ignition", "dashboard.night") + 'means = "START"\n', "only for signal vehicle.ignition"),
        (ADC.replace('channel = "in_voltage0"\n', ""), "`device` (what its file `name` says) and `channel`"),
        (ADC.replace("engine.oil_temperature", "vehicle.ignition"), '`kind = "gpio"` for vehicle.ignition'),
        (ADC + "divider = [1, 2]\npull_up = [3.3, 100]\n", "either `divider` or `pull_up`"),
        (ADC + "points = [[1, 2], [2, 3]]\nscale = 2.0\n", "either `points`, or `scale` and `offset`"),
        (ADC + "divider = [1]\n", "a list of 2"),
        (ADC + "lines = 3\n", "lines"),
    ],
)
def test_a_mistake_is_told_with_what_is_allowed(text: str, words: str) -> None:
    with pytest.raises(ConfigError) as caught:
        parsed(text)
    assert words in str(caught.value)
    assert "line " in str(caught.value)


def test_what_needs_the_catalogue_is_told_by_the_assembly() -> None:
    config = parsed(ADC)
    (problem,) = assemble(CAR, load({}), inputs=config.inputs).problems
    assert problem == (
        "input oil is left out: it measures V, and engine.oil_temperature is stored in 'degC'; say how one becomes "
        "the other by points, or by scale and offset"
    )


def test_a_wire_of_the_ignition_is_enough_to_send() -> None:
    bus = '[bus.drive]\ninterface = "virtual"\nchannel = "a"\ntransmit = true\n'
    assert any("says nothing about the ignition" in one.sentence for one in found(bus))
    assert not any(one.level is Level.ERROR for one in found(bus + KEY))


def test_with_a_switched_supply_it_is_said_that_the_wire_may_never_be_seen_off() -> None:
    bus = '[bus.drive]\ninterface = "virtual"\nchannel = "a"\ntransmit = true\n'
    config = parse_config((HEAD + bus + KEY).replace('"held"', '"switched"'), signals=CATALOGUE)
    sentences = [one.sentence for one in explain(config, assemble(CAR, load({}), inputs=config.inputs).car)]
    assert any("input key may never be seen off" in sentence for sentence in sentences)


def test_a_wire_cannot_be_compared_with_buses_that_say_nothing_by_themselves() -> None:
    silent = CarDescription("old", "Old", (BusDescription("drive", 500_000, silent=True),))
    (one,) = [one for one in found(KEY, silent) if "cannot be compared" in one.sentence]
    assert one.level is Level.WARNING


def test_two_inputs_at_one_line_are_an_error() -> None:
    lights = KEY.replace("input.key", "input.lights").replace("vehicle.ignition", "dashboard.night")
    (one,) = [one for one in found(KEY + lights) if one.level is Level.ERROR]
    assert one.sentence == "inputs key and lights are both at GPIO17"


def test_a_line_that_lights_a_panel_is_no_input() -> None:
    panel = '[panel.main]\ndriver = "picture"\ndeck = ["boost"]\n'
    panel += '[panel.main.backlight]\nkind = "line"\nline = "GPIO17"\n'
    assert any(one.sentence == "line GPIO17 lights panel main and is input key" for one in found(KEY + panel))


def test_a_line_that_nothing_holds_is_noted() -> None:
    (one,) = [one for one in found(KEY.replace('pull = "down"\n', "")) if "while its wire is open" in one.sentence]
    assert one.level is Level.NOTE


def test_a_wired_button_is_no_button_of_the_car_that_lacks_a_frame() -> None:
    push = '[input.push]\nkind = "gpio"\nsignal = "button.panel"\nline = "GPIO22"\npull = "up"\n'
    assert not any("button" in one.sentence for one in found(push))
