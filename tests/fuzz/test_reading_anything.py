from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st


def load(name: str) -> Any:
    spec = importlib.util.spec_from_file_location(f"fuzz_{name}", Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = made
    spec.loader.exec_module(made)
    return made


fuzz = load("reading")


@settings(deadline=None, max_examples=200)
@given(st.binary(max_size=300))
def test_any_layout_is_compiled_or_refused_and_takes_any_frame(data: bytes) -> None:
    fuzz.frames_into_layouts(fuzz.Source(data))


@settings(deadline=None, max_examples=200)
@given(st.binary(max_size=300))
def test_any_trace_is_read_or_refused_and_read_again_the_same(data: bytes) -> None:
    fuzz.lines_into_frames(fuzz.Source(data))
