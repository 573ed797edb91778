"""The drive of the wiring's tests, and the table of faults that the run prints."""

from __future__ import annotations

import importlib.util
import sys
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
ROWS = pytest.StashKey[Rows]()


@pytest.fixture(scope="session")
def table(request: pytest.FixtureRequest) -> Rows:
    """Rows of (fault, what was seen to go on, what was said), printed at the end of the run."""
    return request.config.stash.setdefault(ROWS, [])


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Print the table."""
    rows = config.stash.get(ROWS, [])
    if rows:
        terminalreporter.section("fault -> seen -> said")
    for fault, seen, said in rows:
        terminalreporter.write_line(f"{fault} -> {seen} -> {said[:110]}")
