from __future__ import annotations

import re

import pytest

from underdash.contract.errors import UnderdashError
from underdash.contract.signals import Kind, Signal
from underdash.contract.units import UNITS
from underdash.signals.catalogue import CATALOGUE, signal
from underdash.signals.searching import nearest


@pytest.mark.parametrize("entry", CATALOGUE.values(), ids=lambda entry: str(entry.name))
def test_every_entry_has_a_proper_name_a_known_unit_and_a_meaning(entry: Signal) -> None:
    assert re.fullmatch(r"[a-z]+(_[a-z]+)*\.[a-z]+(_([a-z]+|\d))*", entry.name)
    assert entry.unit in UNITS
    assert entry.meaning
    assert not entry.meaning.endswith(".")
    if entry.kind is Kind.NUMBER:
        assert entry.low is not None
        assert entry.high is not None
        assert entry.low < entry.high
    else:
        assert entry.low is entry.high is None
    assert bool(entry.choices) == (entry.kind is Kind.CHOICE)


def test_paths_of_the_vehicle_signal_specification_are_not_used_twice_and_spelt_by_its_rules() -> None:
    paths = [entry.vss for entry in CATALOGUE.values() if entry.vss]
    assert len(paths) == len(set(paths))
    assert all(re.fullmatch(r"Vehicle(\.[A-Z][A-Za-z0-9]*)+", path) for path in paths)


def test_the_ignition_has_the_five_positions() -> None:
    assert signal("vehicle.ignition").choices == ("LOCK", "OFF", "ACC", "ON", "START")


def test_any_button_is_a_switch() -> None:
    assert signal("button.volume_up").kind is Kind.SWITCH
    assert signal("button.volume_up").meaning == "button volume up is pressed"
    assert "button." not in CATALOGUE
    assert "button.Up" not in CATALOGUE
    assert "button.volume up" not in CATALOGUE


def test_an_unknown_signal_is_refused_with_the_nearest_spelling() -> None:
    with pytest.raises(UnderdashError, match=r"'engine.colant_temperature'.*did you mean 'engine.coolant_temperature'"):
        signal("engine.colant_temperature")
    with pytest.raises(UnderdashError, match="declare it in a plug-in's signals hook"):
        signal("zzz")
    with pytest.raises(KeyError):
        CATALOGUE["zzz"]


def test_nearest_is_silent_when_nothing_is_near() -> None:
    assert nearest("zzz", CATALOGUE) is None


def test_signals_of_a_plugin_join_the_catalogue_but_take_no_name_in_it() -> None:
    own = Signal("intercooler.efficiency", "%", "share of heat taken out")
    more = CATALOGUE.with_signals([own])
    assert more["intercooler.efficiency"] is own
    assert len(more) == len(CATALOGUE) + 1
    with pytest.raises(UnderdashError, match="declared twice"):
        more.with_signals([own])
