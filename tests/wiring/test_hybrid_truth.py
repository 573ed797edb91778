"""What the daemon shows of the simulated hybrid is what its model says."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from typing import Any

import pytest

from underdash.diagnostics.obd import with_fields

SECONDS = 150.0
EVERY_S = 0.05


@pytest.fixture(scope="module")
def hybrid(drive: Callable[..., Any]) -> Any:
    return drive(None, car="loris", every_s=EVERY_S).run(SECONDS)


def true_around(journey: Any, name: str, oldest: float, at: float) -> list[Any]:
    """True values between two moments, and at the look after them."""
    first = bisect_left(journey.true, oldest, key=lambda item: item[0])
    last = bisect_right(journey.true, at + EVERY_S, key=lambda item: item[0])
    return [values[name] for _, values in journey.true[first:last]]


@pytest.mark.slow
def test_every_value_shown_of_the_hybrid_is_the_true_one_within_its_resolution(hybrid: Any) -> None:
    car = hybrid.demo.built.assembly.car
    fields = [field for one in car.broadcasts for field in one.fields]
    fields += [field for poll in car.polls for field in with_fields(poll).fields]
    compared = set()
    for field in fields:
        if field.points or field.unit is not None:
            continue
        for at, snapshot in hybrid.seen:
            reading = snapshot.reading(field.signal)
            if reading.value is None or not reading.source.startswith(("broadcast", "poll")):
                continue
            true = true_around(hybrid, field.signal, at - (reading.seconds_old or 0.0) - 0.35, at)
            if not isinstance(reading.value, float):
                assert reading.value in true, f"{field.signal} at {at:.2f} s"
            else:
                low, high = min(true) - 1.01 * field.scale, max(true) + 1.01 * field.scale
                assert low <= reading.value <= high, f"{field.signal} at {at:.2f} s"
            compared.add(field.signal)
    broadcast = {field.signal for one in car.broadcasts for field in one.fields}
    assert broadcast <= compared
    assert {"engine.manifold_pressure", "engine.coolant_temperature", "ambient.pressure"} <= compared
    assert {"traction_battery.charge", "dashboard.brightness", "button.right"} <= compared


@pytest.mark.slow
def test_the_hybrid_is_asked_and_nothing_fails(hybrid: Any) -> None:
    assert hybrid.requests()
    assert not hybrid.demo.daemon.status().faults
