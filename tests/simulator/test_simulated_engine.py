from __future__ import annotations

from random import Random

import pytest

from underdash.simulator.engine import Engine, EngineDesign, EngineInputs, Turning
from underdash.simulator.world import pressure_at

DT_S = 0.05


def engine(design: EngineDesign | None = None, ambient_kpa: float = 101.325) -> Engine:
    return Engine(design or EngineDesign(), Random(5), 10.0, ambient_kpa)


def run(subject: Engine, inputs: EngineInputs, seconds: float) -> None:
    for _ in range(round(seconds / DT_S)):
        subject.step(inputs, DT_S)


def pulling(ambient_kpa: float = 101.325, pedal: float = 1.0) -> EngineInputs:
    return EngineInputs(Turning.RUNNING, pedal, 3400.0, 90.0, ambient_kpa, 15.0)


def test_manifold_shows_ambient_while_the_engine_is_at_rest() -> None:
    subject = engine()
    run(subject, EngineInputs(Turning.STOPPED, ambient_kpa=95.0), 3.0)
    assert subject.speed_rpm == 0.0
    assert subject.manifold_kpa == pytest.approx(95.0, abs=0.1)


def test_idle_is_a_vacuum_and_faster_when_cold() -> None:
    subject = engine()
    run(subject, EngineInputs(Turning.RUNNING), 8.0)
    assert 28.0 < subject.manifold_kpa < 42.0
    assert subject.speed_rpm > 1000.0
    subject.coolant_degc = 88.0
    run(subject, EngineInputs(Turning.RUNNING), 3.0)
    assert 720.0 < subject.speed_rpm < 800.0


def test_boost_builds_up_late_and_goes_quickly() -> None:
    subject = engine()
    run(subject, pulling(pedal=0.1), 5.0)
    run(subject, pulling(), 0.3)
    early = subject.charge_kpa - 101.325
    run(subject, pulling(), 4.0)
    full = subject.charge_kpa - 101.325
    run(subject, pulling(pedal=0.0), 1.5)
    assert early < 0.6 * full
    assert 110.0 < full < 126.0
    assert subject.charge_kpa - 101.325 < 5.0


@pytest.mark.parametrize("altitude_m", [0.0, 800.0, 1500.0, 2600.0])
def test_boost_never_goes_above_its_limits(altitude_m: float) -> None:
    ambient = pressure_at(altitude_m)
    subject = engine(ambient_kpa=ambient)
    for _ in range(400):
        subject.step(pulling(ambient), DT_S)
        assert subject.charge_kpa <= ambient + subject.design.boost_limit_kpa
        assert subject.charge_kpa <= ambient * subject.design.pressure_ratio
        assert subject.manifold_kpa < subject.charge_kpa + 1.0


def test_an_engine_without_a_charger_has_ambient_at_most() -> None:
    subject = engine(EngineDesign(boost_limit_kpa=0.0))
    run(subject, pulling(), 10.0)
    assert 95.0 < subject.manifold_kpa < 101.4


def test_coolant_warms_up_and_stays_near_the_thermostat() -> None:
    subject = engine()
    cruise = EngineInputs(Turning.RUNNING, 0.4, 2300.0, 80.0)
    run(subject, cruise, 60.0)
    assert subject.coolant_degc < 50.0
    run(subject, cruise, 900.0)
    assert 86.0 < subject.coolant_degc < 94.0
    run(subject, pulling(), 300.0)
    assert subject.coolant_degc < 100.0


def test_charge_air_is_hotter_under_boost_and_cooled_below_what_the_compressor_makes() -> None:
    subject = engine()
    run(subject, pulling(pedal=0.1), 20.0)
    before = subject.charge_degc
    run(subject, pulling(), 20.0)
    assert before + 10.0 < subject.charge_degc < 80.0


def test_ignition_is_late_under_boost_and_early_when_cruising() -> None:
    subject = engine()
    run(subject, pulling(pedal=0.2), 5.0)
    cruising = subject.timing_deg
    run(subject, pulling(), 5.0)
    assert subject.timing_deg < cruising - 10.0


def test_all_states_stay_plausible_however_the_pedal_is_worked() -> None:
    subject, rng = engine(), Random(11)
    for _ in range(4000):
        subject.step(EngineInputs(Turning.RUNNING, rng.random(), rng.uniform(700, 6000), rng.uniform(0, 160)), DT_S)
        assert 15.0 < subject.manifold_kpa < 235.0
        assert -10.0 <= subject.timing_deg <= 44.0
        assert 0.0 < subject.throttle_percent < 100.0
        assert subject.exhaust_degc < 1000.0
