from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import underdash_tarn
from underdash import CarDescription, CarFile, PluginInfo


@pytest.fixture
def path() -> Path:
    [car] = underdash_tarn.cars()
    assert isinstance(car, CarFile)
    return car.path


@pytest.fixture
def car(path: Path, read: Callable[[Path], CarDescription]) -> CarDescription:
    return read(path)


def test_it_says_who_it_is() -> None:
    assert isinstance(underdash_tarn.plugin(), PluginInfo)


def test_its_file_has_no_mistakes(car: CarDescription) -> None:
    assert car.name == "tarn"


def test_two_units_share_one_pair_of_ids_and_have_different_addresses(car: CarDescription) -> None:
    pairs: dict[tuple[int, int], list[int | None]] = {}
    for unit in car.units:
        pairs.setdefault((unit.request_id, unit.response_id), []).append(unit.address)
    [shared] = [addresses for addresses in pairs.values() if len(addresses) > 1]
    assert len(set(shared)) == 2
    assert None not in shared


def test_boost_is_to_be_had_in_the_makers_format_only(car: CarDescription) -> None:
    asked = {field.signal: poll.protocol for poll in car.polls for field in poll.fields}
    assert asked["engine.manifold_pressure"] == asked["engine.charge_pressure"] == "halden"
    standard = {poll.identifier for poll in car.polls if poll.protocol == "service_01"}
    assert not standard & {0x0B, 0x33, 0x70}


def test_all_that_is_broadcast_and_asked_for_comes_round_as_it_was(
    path: Path, full_circle: Callable[[Path, float, float], Any]
) -> None:
    circle = full_circle(path, 6.0, 174.0)  # from before ignition on until after the first hard pull
    assert circle.problems == []
    assert circle.wrong == []
    assert circle.damaged == 0
    assert {name: steps for name, steps in circle.worst.items() if steps > 0.5001} == {}
    assert min(circle.compared.values()) > 100
    assert len(circle.compared) >= 29
    assert {"axle.oil_temperature", "vehicle.identification"} <= circle.compared.keys()
    assert circle.seen["vehicle.ignition"] == {"OFF", "ACC", "ON", "START"}
    assert max(circle.seen["engine.manifold_pressure"]) > 210.0
    assert len(circle.seen["engine.speed"]) > 1000
