from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from underdash.config.checking import Finding, Level, Surroundings, explain
from underdash.config.reading import parse_config
from underdash.config.schema import Config
from underdash.contract.buttons import ButtonHandler, GestureKind
from underdash.contract.cars import BusDescription, CarDescription, Exchange, ExpectedFrame, IgnitionEvidence
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.pages import Alert, Page
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, SingleFrameFormat

LEAST = """\
format = 1
[car]
name = "car"
[plugins]
enabled = ["car", "boost"]
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["boost"]
[dimming]
night_hue = 200
[bus.drive]
channel = "can0"
transmit = true
"""
KEY = BroadcastListener("drive", 0x100, (Field("vehicle.ignition", Bits(0)), Field("button.menu", Bits(1, 1, 0))))
EVIDENCE = IgnitionEvidence("vehicle.ignition", ("ON",), ("OFF",))
ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
OWN = SingleFrameFormat("own", 0xB4, (Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER)), (Part(PartKind.DATA),))
CAR = CarDescription(
    "car",
    "A car",
    (BusDescription("drive", 500_000),),
    (ENGINE,),
    broadcasts=(KEY,),
    polls=(PollRequest("engine", "service_01", 0x0C, ()),),
    ignition=(EVIDENCE,),
    buttons=(("menu", "comfort"),),
    fingerprint=(ExpectedFrame("drive", 0x100, False, 8),),
)
BOOST = Page("boost", "Boost", lambda canvas, snapshot: None, ("engine.boost_pressure",))
AROUND = Surroundings(
    installed=["car", "boost", "page_turn"],
    cars=["car"],
    pages={"boost": BOOST},
    provided=["engine.boost_pressure", "button.menu"],
    drivers=["picture"],
)


def config(old: str = "", new: str = "", more: str = "") -> Config:
    assert old in LEAST
    return parse_config(LEAST.replace(old, new) + more)


def told(settings: Config, car: CarDescription | None = CAR, around: Surroundings = AROUND) -> list[Finding]:
    return explain(settings, car, around)


def sentences(*args: Any) -> list[str]:
    return [str(finding) for finding in told(*args)]


def handler(button: str, kind: GestureKind = GestureKind.HOLD, condition: Any = None) -> ButtonHandler:
    return ButtonHandler(button, kind, lambda gesture, snapshot: [], condition=condition)


def test_where_all_is_well_only_the_power_is_told() -> None:
    found = told(config())

    assert [finding.level for finding in found] == [Level.NOTE]
    assert found[0].sentence.startswith("power: with supply switched a parked car loses nothing")


def test_the_worst_comes_first() -> None:
    found = told(config('supply = "switched"\n', "", "[plugin.x]\na = 1\n[bus.comfort]\nchannel = 'can0'\n"))

    levels = [list(Level).index(finding.level) for finding in found]
    assert levels == sorted(levels)
    assert len(found) == 4


CONFIGS = [
    ('supply = "switched"\n', "", "", "error: power.supply is not given"),
    (
        '"switched"',
        '"permanent"',
        "",
        "error: a permanent supply drains the battery of a parked car; power: with supply",
    ),
    (
        '"switched"',
        '"permanent"\naccept_drain = true',
        "",
        "note: power: with supply permanent and these times a Pi 4B",
    ),
    ('"switched"', '"held"\naccept_drain = true', "", "note: power.accept_drain has no meaning with supply held"),
    ('"switched"', '"held"\ncutoff_v = 12.7', "", "warning: power.cutoff_v: at rest a battery that is three quarters"),
    (
        '"switched"',
        '"held"\ncutoff_v = 11',
        "",
        "warning: power.cutoff_v: at rest a lead-acid battery is empty at 11.6",
    ),
    (
        '"boost"]\n[po',
        '"bost"]\n[po',
        "",
        "error: plug-in 'bost' is enabled but not installed -> did you mean 'boost'?",
    ),
    ("", "", "[plugin.page_turn]\na = 1", "warning: [plugin.page_turn] has settings, but the plug-in is not enabled"),
    ('name = "car"', 'name = "cra"', "", "error: no enabled plug-in brings a car called 'cra' -> did you mean 'car'?"),
    (
        "bus.drive",
        "bus.driv",
        "",
        "error: [bus.driv] is configured, but A car has no such bus -> did you mean 'drive'?",
    ),
    ("bus.drive", "bus.driv", "", "note: bus drive of A car is not connected"),
    ("", "", "[bus.comfort]\nchannel = 'can0'", "error: buses drive and comfort are both at can0"),
    ("transmit = true", "", "", "note: one request is described for bus drive, which is only listened to"),
    (
        "",
        "",
        '[reads]\nengin = ["B4"]',
        "warning: [reads] names 'engin', which A car has not -> did you mean 'engine'?",
    ),
    ("picture", "pictur", "", "error: panel main wants the driver 'pictur', which nobody brings -> did you mean"),
    (
        '["boost"]\n[d',
        '["bost"]\n[d',
        "",
        "error: panel main has a page 'bost' in its deck, which nobody brings -> did you",
    ),
    ('[panel.main]\ndriver = "picture"\ndeck = ["boost"]\n', "", "", "warning: there is no panel, so nothing is shown"),
]


@pytest.mark.parametrize(("old", "new", "more", "says"), CONFIGS)
def test_what_is_odd_in_a_configuration_is_told(old: str, new: str, more: str, says: str) -> None:
    found = sentences(config(old, new, more))

    assert any(sentence.startswith(says) for sentence in found), found


TWIN = replace(ENGINE, name="twin")
WITH_OWN: dict[str, Any] = {
    "formats": (OWN,),
    "polls": (PollRequest("engine", "own", 1, (Field("engine.load", Bits(0)),)),),
}
SHOWN = Exchange("own", "engine", b"\xa6\x01", 12, 5, "ab" * 32)
CARS: list[tuple[dict[str, Any], str]] = [
    ({"ignition": ()}, "error: transmit is true for drive, but A car says nothing about the ignition, so nothing will"),
    (
        {"broadcasts": (replace(KEY, bus="comfort"),), "buses": (*CAR.buses, BusDescription("comfort", 125_000))},
        "error: the ignition shows on comfort, which is not connected, so nothing will be asked",
    ),
    ({"ignition": (replace(EVIDENCE, off=()),)}, "warning: no evidence of the ignition names values that mean OFF"),
    ({"fingerprint": ()}, "warning: A car has no fingerprint, so a wrong car would not be noticed"),
    (
        {**WITH_OWN, "exchanges": (SHOWN,)},
        "warning: engine is asked in the format own, but its command B4 is not allowed in [reads]; its values stay",
    ),
    ({"buttons": (("menu", "comfort"), ("up", "comfort"))}, "warning: button 'up' of A car has no field button.up"),
    ({"buttons": ()}, "note: button.menu is not in [buttons], so nobody knows whether it acts on driving"),
    ({"units": (ENGINE, TWIN)}, "error: units engine and twin cannot be told apart: same ids and address"),
]


@pytest.mark.parametrize(("changes", "says"), CARS)
def test_what_is_odd_in_a_car_is_told(changes: dict[str, Any], says: str) -> None:
    found = sentences(config(), replace(CAR, **changes))

    assert any(sentence.startswith(says) for sentence in found), found


def test_a_command_that_is_neither_allowed_nor_shown_is_one_warning_with_both_steps() -> None:
    found = [one for one in sentences(config(), replace(CAR, **WITH_OWN)) if "B4" in one]

    assert len(found) == 1
    assert "B4 is not shown to read by an [[exchange]] and not allowed in [reads]; its values stay empty" in found[0]
    assert "add an [[exchange]]" in found[0]
    assert 'add engine = ["B4"] to [reads]' in found[0]


def test_a_recorded_drive_needs_no_permission_to_send() -> None:
    recorded = config('channel = "can0"\ntransmit = true', 'interface = "trace"\nchannel = "drive.log"')
    found = sentences(recorded, replace(CAR, **WITH_OWN))

    assert [one for one in found if "transmit" in one or "B4" in one] == []


def test_a_plug_in_that_brings_no_page_of_its_name_is_pointed_at_by_its_settings() -> None:
    around = replace(AROUND, pages={"status": BOOST})
    (found,) = [str(one) for one in explain(config(), CAR, around) if "in its deck" in str(one)]
    assert found.endswith("the plug-in boost brings no page of this name; see its settings, [plugin.boost]")


def test_what_is_to_be_corrected_is_the_file_with_the_mistakes() -> None:
    assert "error: there is no car description to work with -> correct own.toml" in [
        str(one) for one in explain(config(), None, Surroundings(mistaken="own.toml"))
    ]
    assert "error: there is no car description to work with -> correct [car] in underdash.toml" in [
        str(one) for one in explain(config(), None)
    ]


def test_a_maker_s_format_with_permission_and_evidence_is_well() -> None:
    car = replace(CAR, **WITH_OWN, exchanges=(SHOWN,))

    assert len(told(config(more='[reads]\nengine = ["B4"]\n'), car)) == 1


def test_a_car_that_cannot_be_read_is_told() -> None:
    assert any("no car description to work with" in sentence for sentence in sentences(config(), None))


def test_evidence_from_a_wire_needs_no_bus() -> None:
    assert len(told(config(), replace(CAR, ignition=(IgnitionEvidence("wire.ignition", ("on",), ("off",)),)))) == 1


def test_a_page_that_stays_empty_is_told_with_its_signals() -> None:
    found = sentences(config(), CAR, replace(AROUND, provided=["button.menu"]))

    assert any(s.startswith("warning: page 'boost' needs engine.boost_pressure, which nobody provides") for s in found)


def test_a_page_that_shows_only_some_of_its_values_is_told_gently() -> None:
    page = replace(BOOST, needs=("engine.boost_pressure", "engine.charge_pressure"))
    found = sentences(config(), CAR, replace(AROUND, pages={"boost": page}))

    assert "note: page 'boost' can show engine.charge_pressure too, which nobody provides" in found


def test_the_hue_nobody_chose_is_not_spoken_of() -> None:
    assert not any("hue" in sentence for sentence in sentences(config("night_hue = 200", "")))


@pytest.mark.parametrize(
    ("waiting", "says"),
    [
        (
            handler("menü"),
            "warning: a plug-in waits for hold on button 'menü', which A car has not -> did you mean 'menu'",
        ),
        (handler("cruise"), "warning: hold on button 'cruise' acts on how the car drives"),
        (handler("menu", GestureKind.PRESS), "note: the car still does its own thing with a press on button 'menu'"),
    ],
)
def test_buttons_that_are_not_a_good_choice_are_told(waiting: ButtonHandler, says: str) -> None:
    cruise = replace(KEY, fields=(*KEY.fields, Field("button.cruise", Bits(1, 1, 1))))
    car = replace(CAR, buttons=(("menu", "comfort"), ("cruise", "driving")), broadcasts=(cruise,))
    found = sentences(config(), car, replace(AROUND, handlers=[waiting]))

    assert any(sentence.startswith(says) for sentence in found), found


def test_a_condition_guards_a_button_that_acts_on_driving() -> None:
    car = replace(CAR, buttons=(("menu", "driving"),))
    around = replace(AROUND, handlers=[handler("menu", condition=lambda snapshot: True)])

    assert len(told(config(), car, around)) == 1


def test_a_hue_near_that_of_an_alarm_is_told() -> None:
    (amber,) = (s for s in sentences(config("night_hue = 200", "night_hue = 38")) if "night_hue" in s)
    assert amber.startswith("warning: dimming: night_hue 38 is near the amber of a caution (hue 37)")
    assert "-> a hue more than 20 degrees away, such as 200" in amber
    (green,) = (s for s in sentences(config("night_hue = 200", "night_hue = 120")) if "night_hue" in s)
    assert green.startswith("note: dimming: night_hue 120 is near the green of normal operation")


def test_nothing_is_said_about_what_is_not_known() -> None:
    assert len(told(config(), CAR, Surroundings())) == 1


def test_a_simulated_car_needs_no_fingerprint() -> None:
    settings = config('channel = "can0"', 'interface = "memory"')

    assert len(told(settings, replace(CAR, fingerprint=()))) == 1


def told_of_alerts(*alerts: Alert, polled: tuple[str, ...] = ()) -> list[str]:
    found = explain(config(), CAR, replace(AROUND, alerts=alerts, polled=polled))
    return [str(one) for one in found if "alert" in one.sentence]


def test_an_alert_on_a_value_that_is_asked_for_is_told_to_come_late() -> None:
    hot = Alert("hot", "engine.oil_temperature", "oil hot", above=130.0)
    assert told_of_alerts(hot) == []
    assert told_of_alerts(hot, polled=("engine.oil_temperature", "engine.speed")) == [
        "note: alerts watch engine.oil_temperature, which has to be asked for: a limit is noticed a second or more "
        "late, and nothing is protected by it"
    ]


def test_the_page_of_an_alert_must_be_there() -> None:
    hot = Alert("hot", "engine.oil_temperature", "oil hot", above=130.0, page="bost")
    assert told_of_alerts(replace(hot, page="boost")) == []
    assert told_of_alerts(hot) == [
        "warning: alert 'hot' wants to put up page 'bost', which nobody brings -> did you mean 'boost'?"
    ]
