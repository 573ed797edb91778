from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import fields
from importlib.metadata import EntryPoint

import pytest

from underdash.collecting import Contributions, PowerCalls, collect, contributions
from underdash.contract.cars import CarDescription
from underdash.contract.signals import PowerState
from underdash.loading import HOOKS, load

TinyPlugin = Callable[..., EntryPoint]
CAR = CarDescription("car", "A car", ())

SIGNAL = """
@hookimpl
def signals(): return [Signal("{0}.ratio", "%", "a share")]
"""
PAGE = """
@hookimpl
def display_pages(): return [Page("{0}", "Boost", print, ("engine.boost_pressure",))]
"""

FAILURES = {
    "raising": (
        "@hookimpl\ndef signals(): raise ValueError('oh')",
        r"signals raised ValueError: oh \(tiny_plugin_\d+.py, line",
    ),
    "exiting": ("@hookimpl\ndef signals(): raise SystemExit(1)", "signals raised SystemExit"),
    "returning nothing": ("@hookimpl\ndef signals(): pass", "signals returned None"),
    "returning one item": ("@hookimpl\ndef signals(): return Signal('bad.a', '', 'a')", "signals returned Signal"),
    "returning a generator": ("@hookimpl\ndef signals(): yield 1", "signals returned .* \\(generator\\)"),
    "another type of item": (
        "@hookimpl\ndef signals(): return [Signal('bad.a', '', 'a'), 3]",
        "returned 3 \\(int\\) as item 1",
    ),
    "an unknown unit": (
        "@hookimpl\ndef signals(): return [Signal('bad.a', 'furlong', 'a')]",
        "signals declares 'bad.a' in the unknown unit 'furlong'",
    ),
    "a foreign name": ("@hookimpl\ndef signals(): return [Signal('other.a', '', 'a')]", "signals declares 'other.a'"),
    "one name twice": ("@hookimpl\ndef signals(): return 2 * [Signal('bad.a', '', 'a')]", "which bad brings already"),
    "a unit that is no text": (
        "@hookimpl\ndef signals(): return [Signal('bad.a', ['%'], 'a')]",
        r"signals returned item 0, a Signal: unit is \['%'\] \(list\), it has to be a text",
    ),
    "something that cannot be shown": (
        "class Odd:\n    def __repr__(self): raise ValueError\n@hookimpl\ndef signals(): return [Odd()]",
        "Odd",
    ),
}


@pytest.mark.parametrize("case", FAILURES)
def test_a_plugin_that_fails_at_a_hook_is_refused_and_the_others_bring_theirs(
    case: str, tiny_plugin: TinyPlugin
) -> None:
    source, reason = FAILURES[case]
    points = [tiny_plugin(SIGNAL.format("first"), "first"), tiny_plugin(source, "bad")]
    points.append(tiny_plugin(SIGNAL.format("last"), "last"))
    collected = collect(load({"first": {}, "bad": {}, "last": {}}, points), "signals")
    assert [(owner, item.name) for owner, item in collected.items] == [("first", "first.ratio"), ("last", "last.ratio")]
    (refused,) = collected.refused
    assert refused.name == "bad"
    assert re.search(reason, refused.reason), refused.reason


@pytest.mark.parametrize("limits", ["", ", above=1.0, below=2.0"])
def test_an_alert_without_exactly_one_limit_costs_its_plugin_and_not_the_daemon(
    tiny_plugin: TinyPlugin, limits: str
) -> None:
    source = f"@hookimpl\ndef alerts(): return [Alert('hot', 'engine.oil_temperature', 'hot'{limits})]"
    collected = collect(load({"bad": {}}, [tiny_plugin(source, "bad")]), "alerts")
    assert collected.items == ()
    assert "alerts brings 'hot' without exactly one limit" in collected.refused[0].reason


def test_an_implementation_gets_the_arguments_it_names_and_its_own_settings(tiny_plugin: TinyPlugin) -> None:
    source = """
@dataclass(frozen=True)
class Settings:
    name: str = "x"
@hookimpl
def display_pages({}): return [Page({}, "", print, ())]
"""
    points = [
        tiny_plugin(source.format("settings", "settings.name"), "one"),
        tiny_plugin(source.format("settings, car", "settings.name + car.name"), "two"),
        tiny_plugin(source.format("", "'none'"), "three"),
        tiny_plugin(source.format("car, wish='own'", "car.name + wish"), "four"),
    ]
    loaded = load({"one": {"name": "a"}, "two": {"name": "b"}, "three": {}, "four": {}}, points)
    pages = [item.name for _, item in collect(loaded, "display_pages", car=CAR).items]
    assert pages == ["a", "bcar", "none", "carown"]


def test_a_name_that_is_taken_refuses_the_later_plugin_and_names_the_other(tiny_plugin: TinyPlugin) -> None:
    points = [tiny_plugin(PAGE.format("boost"), name) for name in ("one", "two")]
    collected = collect(load({"one": {}, "two": {}}, points), "display_pages", car=CAR)
    assert [owner for owner, _ in collected.items] == ["one"]
    assert collected.refused[0].reason == "display_pages brings 'boost', which one brings already"


def test_a_plugin_named_like_a_part_of_the_car_cannot_take_a_name_of_the_catalogue(tiny_plugin: TinyPlugin) -> None:
    point = tiny_plugin("@hookimpl\ndef signals(): return [Signal('engine.speed', 'rpm', 'x')]", "engine")
    assert "the catalogue has it" in collect(load({"engine": {}}, [point]), "signals").refused[0].hint


def test_of_a_plugin_that_fails_at_one_hook_nothing_is_left_in_the_contributions(tiny_plugin: TinyPlugin) -> None:
    half = tiny_plugin(SIGNAL.format("half") + "@hookimpl\ndef alerts(): return 5", "half")
    whole = tiny_plugin(SIGNAL.format("whole") + PAGE.format("p"), "whole")
    brought, after = contributions(load({"half": {}, "whole": {}}, [half, whole]), CAR)
    assert [owner for owner, _ in brought.signals] == ["whole"]
    assert [page.name for _, page in brought.display_pages] == ["p"]
    assert [plugin.name for plugin in after.plugins] == ["whole"]
    assert [one.name for one in after.refused] == ["half"]


def test_the_contributions_have_a_place_for_every_hook_that_brings_a_list_for_a_car() -> None:
    named = {entry.name for entry in fields(Contributions)}
    assert named == set(HOOKS) - {"plugin", "cars", "power_changed"}


def test_a_change_of_power_reaches_everyone_and_three_failures_are_the_last(tiny_plugin: TinyPlugin) -> None:
    told = "told = []\n@hookimpl\ndef power_changed(state): told.append(state)"
    bad = tiny_plugin("@hookimpl\ndef power_changed(): raise SystemExit", "bad")
    good = tiny_plugin(told, "good")
    failed: list[tuple[str, bool]] = []
    calls = PowerCalls(
        load({"bad": {}, "good": {}}, [bad, good]), lambda name, reason, last: failed.append((name, last))
    )
    states = [PowerState.AWAKE, PowerState.LINGERING, PowerState.ASLEEP, PowerState.AWAKE]
    for state in states:
        calls.tell(state)
    assert failed == [("bad", False), ("bad", False), ("bad", True)]
    assert __import__(good.value).told == states


def test_the_bundled_plugins_run_with_their_defaults_and_bring_what_their_names_say() -> None:
    names = ("boost", "temperatures", "page_turn", "tarn", "loris")
    loaded = load({name: {} for name in names})
    assert loaded.refused == ()
    assert {owner for owner, _ in collect(loaded, "cars").items} == {"tarn", "loris"}
    brought, after = contributions(loaded, CAR)
    assert [plugin.name for plugin in after.plugins] == list(names)
    assert {owner for owner, _ in brought.display_pages} == {"boost", "temperatures"}


@pytest.mark.parametrize("role", ["ACCENT", "INK", "SOFT"])
def test_an_alert_that_is_neither_caution_nor_warning_costs_its_plugin(tiny_plugin: TinyPlugin, role: str) -> None:
    source = (
        "from underdash import Role\n"
        f"@hookimpl\ndef alerts(): return [Alert('hot', 'engine.oil_temperature', 'hot', 1.0, role=Role.{role})]"
    )
    collected = collect(load({"bad": {}}, [tiny_plugin(source, "bad")]), "alerts")
    assert collected.items == ()
    assert "an alert is a caution or a warning" in str(collected.refused[0])
