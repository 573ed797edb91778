"""Every configuration and description that is shipped loads, and the big example names every key there is."""

from __future__ import annotations

import importlib
import re
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import get_args, get_type_hints

import pytest

from underdash.broadcast.dispatch import register
from underdash.bus.table import Table
from underdash.bus.vetting import MakerEvidence, vet
from underdash.buttons.gestures import GestureOptions
from underdash.config.cars import read_car, variants_of
from underdash.config.checking import Level, Surroundings, explain
from underdash.config.reading import parse_config, read_config
from underdash.config.schema import Config
from underdash.config.structure import INTERNAL, check_settings
from underdash.contract.cars import CarDescription
from underdash.diagnostics.requests import Compiled, compile_polls
from underdash.display.dimming import DimmingOptions
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "config" / "underdash.toml"
SIMULATOR = ROOT / "daemon" / "underdash" / "simulator"
CONFIGS = [EXAMPLE, *sorted((ROOT / "config" / "examples").glob("*.toml")), *sorted(SIMULATOR.glob("demo_*.toml"))]
CARS = [*sorted((ROOT / "config" / "cars").glob("*.toml")), *sorted((ROOT / "plugins").glob("*/underdash_*/*.toml"))]
INVENTED = ["tarn", "loris"]


def named(path: Path) -> str:
    return path.stem


def invented(name: str) -> CarDescription:
    return read_car(ROOT / "plugins" / name / f"underdash_{name}" / f"{name}.toml", signals=CATALOGUE)


@pytest.mark.parametrize("path", CONFIGS, ids=named)
def test_every_configuration_loads(path: Path) -> None:
    config = read_config(path, CATALOGUE)

    assert config.format == 1
    if config.car_file:
        read_car(config.car_file, signals=CATALOGUE)


@pytest.mark.parametrize("path", CARS, ids=named)
def test_every_car_loads_and_says_in_its_first_lines_what_it_is(path: Path) -> None:
    for variant in variants_of(path) or [None]:
        car = read_car(path, variant=variant, signals=CATALOGUE)

        assert car.name == path.stem
        assert path.read_text().startswith("# ")
        assert car.origin


@pytest.mark.parametrize("path", CONFIGS, ids=named)
def test_every_configuration_fits_its_car(path: Path) -> None:
    config = read_config(path, CATALOGUE)
    car = read_car(config.car_file, signals=CATALOGUE) if config.car_file else invented(config.car.name)

    found = explain(config, car, Surroundings())

    assert [finding for finding in found if finding.level is not Level.NOTE] == []


# --- the big example ----------------------------------------------------------------------------------------------


def keys_of(kind: type, table: str) -> list[tuple[str, str]]:
    """Return (table, key) of all keys below a dataclass; ``<name>`` stands for a name of the owner's choice."""
    found = []
    for item in fields(kind):
        if item.metadata == INTERNAL:
            continue
        hint = get_type_hints(kind)[item.name]
        inner = next((a for a in (hint, *get_args(hint)) if isinstance(a, type) and is_dataclass(a)), None)
        if inner is not None:
            name = item.name if "dict" not in str(hint) else f"{item.name}.<name>"
            found += keys_of(inner, f"{table}.{name}".lstrip("."))
        elif "dict" in str(hint):
            found.append((f"{table}.{item.name}".lstrip("."), ""))
        else:
            found.append((table, item.name))
    return found


def written(text: str) -> set[tuple[str, str]]:
    """Return (table, key) of what the example shows, remarks included."""
    found, table = set(), ""
    for line in text.splitlines():
        if header := re.match(r"#? ?\[([\w.]+)\]$", line):
            parts = header[1].split(".")
            if parts[0] in ("bus", "panel", "input"):
                parts[1] = "<name>"
            table = ".".join(["plugin"] if parts[0] == "plugin" else parts)
            found.add((table, ""))
        elif key := re.match(r"#? ?(\w+) = ", line):
            found.add((table, key[1]))
    return found


def test_the_example_names_every_key_there_is() -> None:
    missing = [key for key in keys_of(Config, "") if key not in written(EXAMPLE.read_text())]

    assert missing == []


def test_the_example_explains_every_key() -> None:
    """A key stands below a remark, or in a group of keys that begins below one."""
    explained, before, known = False, "", set()
    for line in EXAMPLE.read_text().splitlines():
        if key := re.match(r'("?[\w/."]+) = ', line):
            assert explained or key[1] in known, line
            known.add(key[1])
        elif line.startswith("#"):
            explained = True
        elif not line and not before.startswith("#"):
            explained = False
        before = line


def test_a_remark_with_a_key_shows_a_value_that_is_taken() -> None:
    """Take the mark off each key that stands in a remark, one by one; a whole table of them at once."""
    text = EXAMPLE.read_text()
    tables = re.findall(r"(?m)^# \[.*\]\n(?:# \w+ = .*\n)+", text)
    for table in tables:
        parse_config(text.replace(table, re.sub("(?m)^# ", "", table)), signals=CATALOGUE)
        text = text.replace(table, "")
    lines = text.splitlines()
    for number, line in enumerate(lines):
        if not re.match(r'# "?[\w.]+"? = ', line):
            continue
        changed = [*lines[:number], line.removeprefix("# "), *lines[number + 1 :]]
        instead = {"# file": 'name = "tarn"', "# channel": 'hardware = "spi0.0"'}.get(line.partition(" =")[0])
        if instead:
            changed.remove(instead)
        parse_config("\n".join(changed), signals=CATALOGUE)


def test_the_example_shows_the_defaults() -> None:
    """Where a key is there, it has the value it would have without it, but for what every owner has to say."""
    least = parse_config('format = 1\n[car]\nname = "tarn"\n[power]\nsupply = "switched"')
    shown = read_config(EXAMPLE)

    for name in ("power", "dimming", "buttons", "limits", "recording", "signals"):
        assert getattr(shown, name) == getattr(least, name)


def test_the_defaults_are_those_of_the_rooms_they_go_to() -> None:
    least = parse_config('format = 1\n[car]\nname = "tarn"')

    for ours, theirs in ((least.buttons, GestureOptions()), (least.dimming, DimmingOptions())):
        shared = {f.name for f in fields(theirs)} & {f.name for f in fields(ours)} - {"knob_applies"}
        assert len(shared) >= 4
        assert {name: getattr(ours, name) for name in shared} == {name: getattr(theirs, name) for name in shared}


def test_settings_of_bundled_plugins_in_the_example_are_taken() -> None:
    config = read_config(EXAMPLE)
    for name in config.plugins.enabled:
        info = importlib.import_module(f"underdash_{name}").plugin()
        if info.settings is not None:
            check_settings(info.settings, config.settings[name], config.source, ("plugin", name))


# --- the invented cars, against the rooms that use them -----------------------------------------------------------


def compiled(name: str) -> Compiled:
    car = invented(name)
    return compile_polls(car, car.polls, (), Store(CATALOGUE), CATALOGUE)


@pytest.mark.parametrize("name", INVENTED)
def test_every_broadcast_of_the_invented_cars_compiles(name: str) -> None:
    car = invented(name)
    tables = {bus.role: Table() for bus in car.buses}

    assert register(car.broadcasts, Store(CATALOGUE), tables, CATALOGUE).problems == []


@pytest.mark.parametrize("name", INVENTED)
def test_every_request_of_the_invented_cars_passes_the_guard_s_table(name: str) -> None:
    car = invented(name)
    example = read_config(EXAMPLE)
    evidence = MakerEvidence(example.reading_bytes, car.exchanges)
    made = compiled(name)

    assert made.problems == []
    assert len(made.polls) == len(car.polls)
    assert [refusal for template in made.templates if (refusal := vet(template, evidence))] == []


def test_the_maker_s_requests_of_the_tarn_need_permission_and_evidence() -> None:
    car, made = invented("tarn"), compiled("tarn")
    own = [template for template in made.templates if template.maker is not None]

    assert own
    assert all(vet(template, MakerEvidence({}, car.exchanges)) for template in own)
    assert all(vet(template, MakerEvidence(read_config(EXAMPLE).reading_bytes, ())) for template in own)


def test_the_tarn_has_no_barometer_and_the_loris_has_one() -> None:
    provides = {name: {s for poll in compiled(name).polls for s in poll.signals} for name in INVENTED}

    assert "ambient.pressure" not in provides["tarn"]
    assert {"engine.manifold_pressure", "engine.charge_pressure"} <= provides["tarn"]
    assert {"ambient.pressure", "engine.manifold_pressure"} <= provides["loris"]


def test_the_two_kinds_of_standard_ids_differ_in_nothing_else() -> None:
    short, long = (read_car(ROOT / "config" / "cars" / f"obd2_{bits}bit.toml") for bits in (11, 29))

    assert [unit.extended for unit in (*short.units, *long.units)] == [False, True]
    assert replace(long, name=short.name, title=short.title, units=short.units) == short


def test_the_shipped_configuration_shows_the_boost_keys_that_are_easily_missed() -> None:
    shipped = Path(__file__).parents[2] / "config" / "underdash.toml"
    table = shipped.read_text().partition("[plugin.boost]")[2].partition("\n[")[0]
    for key in ("history_s", "reference_limit_s", "vacuum_side"):
        assert f"\n# {key} = " in table
