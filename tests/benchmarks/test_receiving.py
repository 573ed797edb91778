from __future__ import annotations

import asyncio
import importlib.util
import sys
from pathlib import Path


def test_the_bench_for_receiving_gives_every_figure_and_loses_no_frame() -> None:
    spec = importlib.util.spec_from_file_location("bench_receiving", Path(__file__).with_name("receiving.py"))
    assert spec is not None
    assert spec.loader is not None
    bench = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = bench
    spec.loader.exec_module(bench)
    rows = asyncio.run(bench.measure(frames=128, rounds=2))
    assert len(rows) == 8
    assert all(row.counted == row.expected > 0 for row in rows)
    assert all(row.microseconds > 0 for row in rows)
    assert bench.table(rows).count("ok") == 8
