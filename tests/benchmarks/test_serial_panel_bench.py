from __future__ import annotations

import importlib.util
import sys
from pathlib import Path


def test_a_moving_value_fits_its_budget_and_the_controller_shows_it() -> None:
    spec = importlib.util.spec_from_file_location("bench_serial_panel", Path(__file__).with_name("serial_panel.py"))
    assert spec is not None
    assert spec.loader is not None
    bench = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = bench
    spec.loader.exec_module(bench)
    run, controller = bench.runs(115200, seconds=4.0)
    assert run.fps >= bench.BUDGET_FPS
    assert controller.pictures > 4.0 * bench.BUDGET_FPS
    assert any(controller.screen)
