"""The invented cars, whose layout is known: quantities they broadcast, measured from outside with noise and lag."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from underdash.contract.signals import Value
from underdash.finding.heard import Heard
from underdash.finding.like.reference import Reference
from underdash.finding.like.search import like
from underdash.finding.reading import heard_from
from underdash.simulator.car import SimulatedCar
from underdash.simulator.cars import simulated
from underdash.wiring.installed import car_of_any, load_with

LAG_S = 0.4
PLACES = [
    ("tarn", "engine.speed", "drive 08F1A210 bytes 0 to 1, big-endian", 0.25),
    ("tarn", "vehicle.speed", "drive 08F1B318 bytes 2 to 3, little-endian", 0.01),
    ("loris", "engine.speed", "drive 1D0 bytes 2 to 3, big-endian", 0.5),
    ("loris", "vehicle.speed", "drive 1B4 bytes 4 to 5, big-endian", 0.02),
    ("loris", "traction_battery.voltage", "drive 3E6 bytes 3 to 4, big-endian", 0.0625),
]
FROM_S = {"tarn": 400.0, "loris": 30.0}
"""The tarn climbs a winding road there, so that its wheels and its speed differ; the loris drives in town."""


@cache
def driven(name: str) -> tuple[Heard, NDArray[np.float64], tuple[dict[str, Value], ...]]:
    car, _ = car_of_any(name, load_with([]))
    model, script = simulated(name)
    sim = SimulatedCar(car, model, script, 1)
    begin = FROM_S[name]
    sim.advance(0.0)
    sim.advance(begin)
    at = np.arange(begin + 0.5, begin + 200.0, 0.5)
    frames, truth = [], []
    for now in at.tolist():
        frames += sim.advance(now)
        truth.append(dict(sim.truth(now)))
    return heard_from(frames), at, tuple(truth)


def measured(name: str, signal: str) -> Reference:
    """What an instrument of our own would show: half a percent of noise, read `LAG_S` before the frames carry it."""
    _, at, truth = driven(name)
    value = np.array([float(str(values[signal])) for values in truth])
    noise = 0.005 * np.ptp(value) * np.random.default_rng(1).standard_normal(len(value))
    return Reference(signal, at - LAG_S, value + noise)


@pytest.mark.parametrize(("name", "signal", "where", "scale"), PLACES)
def test_what_a_simulated_car_broadcasts_is_found(name: str, signal: str, where: str, scale: float) -> None:
    answer = like(driven(name)[0], measured(name, signal))
    best = answer.ranks[0][0]
    assert str(best.where) == where
    assert best.figures["scale"] == pytest.approx(scale)
    assert best.figures["offset"] == pytest.approx(0.0, abs=1.0)
    assert best.figures["lag_s"] == pytest.approx(LAG_S, abs=0.15)
    assert best.confidence > 0.8


@pytest.mark.parametrize(("name", "signal"), [("tarn", "engine.speed"), ("loris", "vehicle.speed")])
def test_another_quantity_is_not_taken_for_one_whose_frame_is_left_out(name: str, signal: str) -> None:
    heard, *_ = driven(name)
    reference = measured(name, signal)
    (id_,) = {int(where.split()[1], 16) for car, other, where, _ in PLACES if (car, other) == (name, signal)}
    sources = tuple((one.bus, one.id, one.extended) for one in heard if one.id == id_)
    answer = like(heard, Reference(reference.name, reference.at, reference.value, "", sources))
    assert all(one.confidence < 0.6 for rank in answer.ranks for one in rank)


@pytest.mark.parametrize(("name", "signal", "where", "scale"), [PLACES[1], PLACES[3]])
def test_fifteen_typed_numbers_show_the_whole_field(name: str, signal: str, where: str, scale: float) -> None:
    whole = measured(name, signal)
    rows = np.sort(np.random.default_rng(5).choice(len(whole), 15, replace=False))
    typed = whole.only(rows)
    answer = like(driven(name)[0], Reference(signal, typed.at, np.rint(typed.value)))
    assert str(answer.ranks[0][0].where) == where
    assert answer.ranks[0][0].figures["scale"] == pytest.approx(scale, rel=0.05)
