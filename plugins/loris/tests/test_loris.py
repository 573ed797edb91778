from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import underdash_loris
from underdash import CarDescription, CarFile, PluginInfo


@pytest.fixture
def path() -> Path:
    [car] = underdash_loris.cars()
    assert isinstance(car, CarFile)
    return car.path


@pytest.fixture
def car(path: Path, read: Callable[[Path], CarDescription]) -> CarDescription:
    return read(path)


def test_it_says_who_it_is() -> None:
    assert isinstance(underdash_loris.plugin(), PluginInfo)


def test_its_file_has_no_mistakes(car: CarDescription) -> None:
    assert car.name == "loris"


def test_its_engine_is_asked_by_the_standard_and_has_a_barometer(car: CarDescription) -> None:
    engine = [poll for poll in car.polls if poll.unit == "engine"]
    assert {poll.protocol for poll in engine} == {"service_01"}
    assert 0x33 in {poll.identifier for poll in engine}


def test_its_traction_battery_is_asked_by_local_identifier(car: CarDescription) -> None:
    [poll] = [poll for poll in car.polls if poll.unit == "battery"]
    assert (poll.protocol, poll.identifier) == ("identifier_21", 0x61)
    assert len(poll.fields) == 5


def test_an_engine_that_turns_is_no_witness_of_its_ignition(car: CarDescription) -> None:
    assert {evidence.signal for evidence in car.ignition} == {"vehicle.ignition", "powertrain.ready"}


def test_all_that_is_broadcast_and_asked_for_comes_round_as_it_was(
    path: Path, full_circle: Callable[[Path, float, float], Any]
) -> None:
    circle = full_circle(path, 3.0, 250.0)
    assert circle.problems == []
    assert circle.wrong == []
    assert circle.damaged == 0
    assert {name: steps for name, steps in circle.worst.items() if steps > 0.5001} == {}
    assert min(circle.compared.values()) > 100
    assert len(circle.compared) >= 22
    assert {"traction_battery.current", "traction_battery.cell_voltage_lowest"} <= circle.compared.keys()
    assert circle.seen["vehicle.ignition"] == {"LOCK", "ACC", "ON", "START"}
    assert circle.seen["powertrain.ready"] == {False, True}
    assert circle.seen["button.right"] == {False, True}
    assert len(circle.seen["traction_battery.charge"]) > 5
