from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Iterator
from importlib.metadata import EntryPoint
from itertools import count
from pathlib import Path

import pytest

HEADER = """
from dataclasses import dataclass
from underdash import *

@hookimpl
def plugin():
    return PluginInfo("a tiny plug-in", settings=globals().get("Settings"))
"""

TinyPlugin = Callable[..., EntryPoint]


@pytest.fixture
def tiny_plugin(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TinyPlugin]:
    """Writes a module and returns an entry point that names it; `header=""` leaves out the imports and `plugin()`."""
    numbers = count()
    monkeypatch.syspath_prepend(str(tmp_path))
    made = []

    def make(source: str = "", name: str = "tiny", header: str = HEADER) -> EntryPoint:
        module = f"tiny_plugin_{next(numbers)}"
        made.append(module)
        (tmp_path / f"{module}.py").write_text(header + source)
        importlib.invalidate_caches()
        return EntryPoint(name, module, "underdash")

    yield make
    for module in made:
        sys.modules.pop(module, None)
