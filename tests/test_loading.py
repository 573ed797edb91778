from __future__ import annotations

import re
import sys
from collections.abc import Callable
from importlib.metadata import EntryPoint

import pytest

from underdash.config.mistakes import Source
from underdash.contract.plugin import CONTRACT
from underdash.loading import GROUP, HOOKS, Loaded, Refused, load

TinyPlugin = Callable[..., EntryPoint]

SETTINGS = """
@dataclass(frozen=True)
class Settings:
    limit: float = 100.0
    name: str = "x"
"""

REFUSALS = {
    "an import error": (
        "import no_such_module_anywhere",
        r"ModuleNotFoundError: No module named",
        "install what it needs",
    ),
    "a syntax error": ("def (", r"importing tiny_plugin_\d+ raised SyntaxError", "report this"),
    "sys.exit at import": (
        "import sys; sys.exit(3)",
        r"raised SystemExit: 3 \(tiny_plugin_\d+.py, line",
        "report this",
    ),
    "a name a newer underdash has": (
        "from underdash import Hologram",
        "cannot import name 'Hologram'",
        "newer underdash",
    ),
    "a misspelt hook": (
        "@hookimpl\ndef broadcast_listners(): return []",
        "'broadcast_listners' is no hook",
        "'broadcast_listeners'",
    ),
    "a hook like none": ("@hookimpl\ndef xyzzy(): return []", "'xyzzy' is no hook", "DEVELOPERS.md"),
    "an unknown argument": ("@hookimpl\ndef signals(bus): return []", "signals asks for 'bus'", "hands over settings"),
    "an argument to plugin()": ("@hookimpl\ndef plugin(car): pass", "plugin asks for 'car'", "hands over nothing"),
    "an async hook": ("@hookimpl\nasync def signals(): return []", "signals is async", "plain functions"),
    "a wrapper": ("@hookimpl(wrapper=True)\ndef signals(): return (yield)", "signals is a wrapper", "plainly"),
    "plugin() that raises": (
        "@hookimpl\ndef plugin(): return 1 / 0",
        "plugin\\(\\) raised ZeroDivisionError",
        "report",
    ),
    "plugin() that exits": ("@hookimpl\ndef plugin(): raise SystemExit", "plugin\\(\\) raised SystemExit", "report"),
    "plugin() of another type": (
        "@hookimpl\ndef plugin(): return {}",
        r"plugin\(\) returned \{\} \(dict\)",
        "PluginInfo",
    ),
    "plugin() of nothing": ("@hookimpl\ndef plugin(): pass", r"plugin\(\) returned None", "PluginInfo"),
    "a newer contract": (
        f"@hookimpl\ndef plugin(): return PluginInfo('x', contract={CONTRACT + 1})\n"
        "@hookimpl\ndef holograms(): return []",
        f"written for contract {CONTRACT + 1}, this underdash speaks {CONTRACT}",
        "upgrade underdash",
    ),
    "a contract of nonsense": (
        "@hookimpl\ndef plugin(): return PluginInfo('x', contract='1')",
        "its contract is '1'",
        "number",
    ),
    "settings that are no dataclass": (
        "class Settings: pass",
        "its settings are .*Settings.* \\(type\\)",
        "dataclass or None",
    ),
}


def load_one(point: EntryPoint, table: dict[str, object] | None = None, source: Source | None = None) -> Loaded:
    return load({point.name: table or {}}, [point], source=source)


@pytest.mark.parametrize("case", REFUSALS)
def test_a_broken_plugin_is_refused_with_reason_and_hint_and_the_next_one_runs(
    case: str, tiny_plugin: TinyPlugin
) -> None:
    source, reason, hint = REFUSALS[case]
    bad, good = tiny_plugin(source, "bad"), tiny_plugin(name="good")
    loaded = load({"bad": {}, "good": {}}, [bad, good])
    assert [plugin.name for plugin in loaded.plugins] == ["good"]
    (refused,) = loaded.refused
    assert refused.name == "bad"

    assert re.search(reason, refused.reason), refused.reason
    assert hint in refused.hint
    assert str(refused) == f"bad: {refused.reason}; {refused.hint}"


def test_a_plugin_without_plugin_hook_is_refused(tiny_plugin: TinyPlugin) -> None:
    loaded = load_one(tiny_plugin(header=""))
    assert loaded.refused == (
        Refused("tiny", "it has no plugin() hook", "add one that returns a PluginInfo, marked with @hookimpl"),
    )


def test_what_is_installed_but_not_enabled_is_listed_and_not_imported(tiny_plugin: TinyPlugin) -> None:
    point = tiny_plugin("raise RuntimeError")
    loaded = load({}, [point])
    assert [one.name for one in loaded.installed] == ["tiny"]
    assert loaded.plugins == ()
    assert loaded.refused == ()
    assert point.value not in sys.modules


def test_what_is_enabled_but_not_installed_is_refused_with_the_nearest_name(tiny_plugin: TinyPlugin) -> None:
    loaded = load({"tinny": {}, "other": {}}, [tiny_plugin()])
    assert loaded.refused == (
        Refused("tinny", "it is not installed", "did you mean 'tiny'?"),
        Refused("other", "it is not installed", "install it beside underdash, or take it out of the configuration"),
    )


def test_two_plugins_of_one_name_are_refused_but_one_that_is_found_twice_is_not(tiny_plugin: TinyPlugin) -> None:
    one, two = tiny_plugin(), tiny_plugin()
    reason = load({"tiny": {}}, [one, two]).refused[0].reason
    assert one.value in reason
    assert two.value in reason
    assert load({"tiny": {}}, [one, one]).refused == ()


def test_plugins_run_in_the_order_of_the_configuration(tiny_plugin: TinyPlugin) -> None:
    points = [tiny_plugin(name=name) for name in ("a", "b", "c")]
    assert [plugin.name for plugin in load({"c": {}, "a": {}}, points).plugins] == ["c", "a"]


def test_settings_are_checked_against_the_dataclass_of_the_plugin(tiny_plugin: TinyPlugin) -> None:
    loaded = load_one(tiny_plugin(SETTINGS), {"limit": 90})
    assert repr(loaded.plugins[0].settings) == "Settings(limit=90.0, name='x')"
    assert repr(load_one(tiny_plugin(SETTINGS)).plugins[0].settings) == "Settings(limit=100.0, name='x')"


def test_settings_that_do_not_fit_are_refused_with_all_mistakes(tiny_plugin: TinyPlugin) -> None:
    loaded = load_one(
        tiny_plugin(SETTINGS), {"limit": "much", "nome": "y"}, Source("my.toml", "\n" * 6 + "[plugin.tiny]")
    )
    (refused,) = loaded.refused
    assert "plugin.tiny.limit: found 'much', allowed: a number" in refused.reason
    assert "did you mean 'name'?" in refused.reason
    assert "line 7" in refused.reason
    assert refused.hint == "correct [plugin.tiny] in my.toml"


def test_settings_that_are_missing_where_no_file_was_named_are_told_without_one(tiny_plugin: TinyPlugin) -> None:
    needy = SETTINGS + "    def __post_init__(self): raise ValueError('another name')\n"
    (refused,) = load_one(tiny_plugin(needy)).refused
    assert refused.reason == "its settings do not fit: plugin.tiny: found an empty table, allowed: another name"
    assert refused.hint == "write them into [plugin.tiny] of a configuration, and name that with --config"


def test_settings_for_a_plugin_that_takes_none_are_refused(tiny_plugin: TinyPlugin) -> None:
    assert load_one(tiny_plugin(), {"a": 1, "b": 2}).refused == (
        Refused("tiny", "it takes no settings, found a, b", "remove [plugin.tiny]"),
    )


def test_a_settings_class_that_exits_is_refused(tiny_plugin: TinyPlugin) -> None:
    exiting = SETTINGS + "    def __post_init__(self): raise SystemExit\n"
    assert "its settings" in load_one(tiny_plugin(exiting)).refused[0].reason


def test_an_odd_module_that_cannot_even_be_looked_at_is_refused(tiny_plugin: TinyPlugin) -> None:
    source = "class Odd(Exception):\n    def __str__(self): raise Odd\ndef __dir__(): raise Odd()"
    assert "looking at it raised Odd" in load_one(tiny_plugin(source)).refused[0].reason


def test_suspending_takes_a_plugin_out_and_names_it(tiny_plugin: TinyPlugin) -> None:
    loaded = load({"a": {}, "b": {}}, [tiny_plugin(name="a"), tiny_plugin(name="b")])
    why = Refused("a", "it is late", "report this")
    after = loaded.suspended([why])
    assert [plugin.name for plugin in after.plugins] == ["b"]
    assert after.refused == (why,)
    assert [plugin.name for plugin in loaded.plugins] == ["a", "b"]


def test_a_loaded_plugin_says_what_it_is_and_how_long_it_took(tiny_plugin: TinyPlugin) -> None:
    plugin = load_one(tiny_plugin("@hookimpl\ndef signals(): return []")).plugins[0]
    assert plugin.info.about == "a tiny plug-in"
    assert plugin.version == ""
    assert plugin.took_s > 0.0
    assert set(plugin.calls) == {"plugin", "signals"}


def test_hook_shapes_follow_the_contract() -> None:
    assert next(iter(HOOKS)) == "plugin"
    assert HOOKS["power_changed"].items == ()
    assert [kind.__name__ for kind in HOOKS["cars"].items] == ["CarDescription", "CarFile"]
    assert HOOKS["display_pages"].takes == ("car", "settings")


def test_the_bundled_plugins_are_installed_and_none_runs_unless_it_is_enabled() -> None:
    loaded = load({})
    assert {"boost", "loris", "page_turn", "tarn", "temperatures"} <= {one.name for one in loaded.installed}
    assert loaded.plugins == ()
    assert GROUP == "underdash"
