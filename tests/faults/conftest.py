"""The drive of the wiring's tests, and the table of faults that the run prints."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest


def _wiring() -> ModuleType:
    path = Path(__file__).parents[1] / "wiring" / "conftest.py"
    spec = importlib.util.spec_from_file_location("tests_of_the_wiring", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


drive = _wiring().drive


Rows = list[tuple[str, str, str]]


@pytest.fixture
def table(record_property: Callable[[str, object], None]) -> Rows:
    """Rows of (fault, what was seen to go on, what was said), printed at the end of the run."""
    rows: Rows = []
    record_property("faults", rows)
    return rows
