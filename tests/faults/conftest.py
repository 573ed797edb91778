"""The drive of the wiring's tests, for faults."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType


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
