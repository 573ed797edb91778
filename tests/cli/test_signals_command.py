"""``underdash signals``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from underdash.signals.catalogue import CATALOGUE

Typed = Callable[..., Any]
EXAMPLE = Path(__file__).parents[2] / "config" / "examples" / "hybrid.toml"


def test_all_names_are_listed_with_the_buttons(typed: Typed) -> None:
    done = typed("signals")
    listed = {line.split()[0] for line in done.out.splitlines()}
    assert done.status == 0
    assert {*CATALOGUE, "button.<name>"} <= listed


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (["instruments", "set"], "dashboard.brightness"),
        (["OIL", "temp"], "gearbox.oil_temperature"),
        (["ignition"], "vehicle.ignition"),
    ],
)
def test_a_word_of_the_meaning_finds_a_name(typed: Typed, words: list[str], name: str) -> None:
    done = typed("signals", *words)
    assert done.status == 0
    assert any(line.startswith(name) for line in done.out.splitlines())


def test_units_ranges_and_choices_are_said(typed: Typed) -> None:
    (line,) = typed("signals", "vehicle.speed").out.splitlines()
    assert line.split()[:3] == ["vehicle.speed", "km/h", "0..420"]
    assert "LOCK|OFF|ACC|ON|START" in typed("signals", "vehicle.ignition").out


def test_a_configuration_says_where_each_comes_from(typed: Typed) -> None:
    lines = typed("signals", "traction", "--config", EXAMPLE).out.splitlines()
    charge = next(line for line in lines if line.startswith("traction_battery.charge "))
    power = next(line for line in lines if line.startswith("traction_battery.power "))
    assert "<- " in charge
    assert "kW" in power.split()


def test_nothing_found_gives_what_comes_near(typed: Typed) -> None:
    done = typed("signals", "oil_temperatur")
    assert (done.status, done.out) == (0, done.out)
    done = typed("signals", "oil_temprature")
    assert (done.status, done.out) == (1, "")
    assert "oil_temperature comes near" in done.err
    assert typed("signals", "zzzz").status == 1
