from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture(scope="module")
def bench() -> Any:
    spec = importlib.util.spec_from_file_location("bench_polling", Path(__file__).with_name("polling.py"))
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = made
    spec.loader.exec_module(made)
    return made


def test_polling_keeps_its_budgets_in_simulated_time(bench: Any) -> None:
    for row in bench.measure(seconds=3.0):
        ratio = row.ours / row.loop
        if "batched" in row.what:
            assert ratio >= 4.0, row.what
        elif row.what.startswith("3 units"):
            assert ratio >= 2.9, row.what
        else:
            assert ratio >= 0.95, row.what


def test_the_client_in_a_loop_reaches_what_one_request_after_the_other_can(bench: Any) -> None:
    ceiling = 1.0 / (bench.LATENCY_S + 2 * bench.FRAME_S)
    assert bench.client(2.0, 1)[0] == pytest.approx(ceiling, rel=0.01)
    assert bench.client(2.0, 12)[0] > 4 * ceiling


def test_none_of_six_demands_starves(bench: Any) -> None:
    shares = [achieved / wanted for _, wanted, achieved in bench.competing(seconds=10.0)]
    assert len(shares) == 6
    assert min(shares) > 0.15
    assert sum(shares) / 6 == pytest.approx(2 / 3, rel=0.05)
