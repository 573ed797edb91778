"""Plug-ins of one's own in commands that run without a configuration."""

from __future__ import annotations

import sys
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path

import pytest

from underdash import UnderdashError, loading
from underdash.contract.errors import GivenError
from underdash.wiring.assembly import BUNDLED
from underdash.wiring.installed import car_of_any, load_with

KESTREL = """
from pathlib import Path
from underdash import Alert, CarFile, PluginInfo, hookimpl

@hookimpl
def plugin():
    return PluginInfo("a car")

@hookimpl
def cars():
    return [CarFile(Path(__file__).with_name("kestrel.toml"))]
"""

CAR = """
format = 1
name = "kestrel"
title = "Kestrel"
counting = "from 0"
[bus.drive]
bitrate = 500_000
"""

CLIMB = """
from underdash import PluginInfo, hookimpl

@hookimpl
def plugin():
    return PluginInfo("a page")
"""


@pytest.fixture(autouse=True)
def strangers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three more plug-ins are installed: a car, a page, and one that cannot be imported."""
    sources = {"kestrel": KESTREL, "climb": CLIMB, "broken": "raise RuntimeError('no')"}
    found = list(entry_points(group=loading.GROUP))
    for name, source in sources.items():
        (tmp_path / f"strange_{name}.py").write_text(source)
        found.append(EntryPoint(name, f"strange_{name}", loading.GROUP))
    (tmp_path / "kestrel.toml").write_text(CAR)
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr(loading, "entry_points", lambda group: found)
    for name in sources:
        monkeypatch.delitem(sys.modules, f"strange_{name}", raising=False)


def test_a_named_plugin_runs_beside_the_bundled_ones() -> None:
    assert [one.name for one in load_with(["climb"]).plugins] == [*BUNDLED, "climb"]


def test_a_named_plugin_that_does_not_run_says_why() -> None:
    with pytest.raises(GivenError, match=r"--plugin broken: importing strange_broken raised RuntimeError: no"):
        load_with(["broken"])
    with pytest.raises(GivenError, match=r"--plugin clim: it is not installed; did you mean 'climb'\?"):
        load_with(["clim"])


def test_the_car_of_any_installed_plugin_is_found_and_brings_its_plugin_along() -> None:
    car, loaded = car_of_any("kestrel", load_with([]))
    assert car.title == "Kestrel"
    assert [one.name for one in loaded.plugins] == [*BUNDLED, "kestrel"]
    assert "strange_climb" in sys.modules, "whoever might bring the car was asked"


def test_nobody_else_is_imported_for_a_car_that_is_there() -> None:
    car, loaded = car_of_any("loris", load_with([]))
    assert car.name == "loris"
    assert [one.name for one in loaded.plugins] == [*BUNDLED]
    assert "strange_kestrel" not in sys.modules


def test_a_car_of_nobody_names_all_cars_and_who_could_not_be_asked() -> None:
    with pytest.raises(UnderdashError) as caught:
        car_of_any("kestral", load_with([]))
    assert "Did you mean kestrel?" in str(caught.value)
    assert "Cars are: kestrel, loris, tarn" in str(caught.value)
    assert "broken: importing strange_broken raised RuntimeError: no" in str(caught.value)
