"""Whatever a file holds, reading it gives a description, a configuration or a list of mistakes; never anything else."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from underdash.config.cars import make_car, read_car
from underdash.config.lines import lines_of
from underdash.config.mistakes import ConfigError, Source
from underdash.config.reading import make_config, parse_config
from underdash.config.toml import parse_toml
from underdash.signals.catalogue import CATALOGUE

ROOT = Path(__file__).parents[2]
CAR = (ROOT / "plugins" / "tarn" / "underdash_tarn" / "tarn.toml").read_text()
CONFIG = (ROOT / "config" / "underdash.toml").read_text()
WORDS = st.sampled_from(
    ["", "=", "[", "]", "[[", "{", "}", '"', "'", '"""', "\\", "\n", "#", ",", "0", "-1", "1e999", "nan", "0x", "true",
     "2020-01-01", "a", "é", "\x00", "\ud7ff", "9" * 40]
)  # fmt: skip
ANYTHING = st.recursive(
    st.none().map(lambda _: "x") | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)
RELAXED = settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def gives_something_or_mistakes(make: Callable[[], object]) -> None:
    """Fail if anything but a value or a list of mistakes comes of it."""
    mistakes: tuple[object, ...] = ("none raised",)
    try:
        make()
    except ConfigError as exc:
        mistakes = exc.mistakes
    assert mistakes


@st.composite
def cut(draw: st.DrawFn, text: str) -> str:
    """A text with a piece of it replaced."""
    start = draw(st.integers(0, len(text)))
    length = draw(st.integers(0, 40))
    return text[:start] + draw(WORDS) + text[start + length :]


def places(table: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """Return where everything in a table is."""
    pairs = table.items() if isinstance(table, dict) else enumerate(table) if isinstance(table, list) else ()
    return [path, *(place for key, value in pairs for place in places(value, (*path, key)))]


def changed(table: Any, path: tuple[str | int, ...], value: Any) -> Any:
    """Return a table with another value at a place."""
    if not path:
        return value
    copy: Any = dict(table) if isinstance(table, dict) else list(table)
    copy[path[0]] = changed(copy[path[0]], path[1:], value)
    return copy


@RELAXED
@given(cut(CAR))
def test_a_car_file_with_a_piece_replaced_never_raises_anything_else(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "car.toml"
        file.write_text(text, encoding="utf-8")
        gives_something_or_mistakes(lambda: read_car(file, signals=CATALOGUE))


@RELAXED
@given(cut(CONFIG))
def test_a_configuration_with_a_piece_replaced_never_raises_anything_else(text: str) -> None:
    gives_something_or_mistakes(lambda: parse_config(text, signals=CATALOGUE))


@RELAXED
@given(st.data())
def test_a_configuration_with_any_value_anywhere_never_raises_anything_else(data: st.DataObject) -> None:
    table, _ = parse_toml(CONFIG, "f")
    table = changed(table, data.draw(st.sampled_from([p for p in places(table) if p])), data.draw(ANYTHING))
    gives_something_or_mistakes(lambda: make_config(table, Source("f"), CATALOGUE))


@settings(RELAXED, max_examples=60)
@given(st.data())
def test_a_car_with_any_value_anywhere_never_raises_anything_else(data: st.DataObject) -> None:
    table, _ = parse_toml(CAR, "f")
    table = changed(table, data.draw(st.sampled_from([p for p in places(table) if p])), data.draw(ANYTHING))
    gives_something_or_mistakes(lambda: make_car(table, Source("f"), Path(), signals=CATALOGUE))


@given(st.text(alphabet="[]{}=\"#,. \nab01'", max_size=60))
def test_finding_lines_never_fails(text: str) -> None:
    lines_of(text)


def test_every_line_of_the_car_is_found_where_it_stands() -> None:
    lines = CAR.splitlines()
    known = lines_of(CAR)
    table, _ = parse_toml(CAR, "f")

    for path in places(table):
        if path and isinstance(path[-1], str) and path in known:
            assert path[-1] in lines[known[path] - 1]
