from __future__ import annotations

import pytest

from underdash.config.mistakes import MISSING, ConfigError, Mistakes, Source, key_text, nearest, value_text
from underdash.contract.errors import UnderdashError


def test_all_mistakes_of_a_file_are_told_in_the_order_of_its_lines() -> None:
    mistakes = Mistakes(Source("car.toml", "\na = 1" + "\n" * 7 + "b = []"))
    mistakes.add(("b", 1), "engin", "a unit", ["gearbox", "engine"])
    mistakes.add(("a",), MISSING, "a number")

    with pytest.raises(ConfigError) as caught:
        mistakes.raise_any()

    assert isinstance(caught.value, UnderdashError)
    assert str(caught.value).splitlines() == [
        "car.toml: 2 mistakes",
        "  line 2, a: found nothing, allowed: a number",
        "  line 9, b#2: found 'engin', allowed: a unit; did you mean 'engine'?",
    ]


def test_without_mistakes_nothing_is_raised() -> None:
    Mistakes(Source()).raise_any()


def test_a_mistake_whose_line_or_key_is_not_known_says_what_is() -> None:
    mistakes = Mistakes(Source("f"))
    mistakes.add((), 1, "a table")
    mistakes.add(("a",), 1, "a table")

    assert [str(one) for one in mistakes.found] == ["found 1, allowed: a table", "a: found 1, allowed: a table"]


def test_mistakes_that_are_in_no_file_name_none() -> None:
    mistakes = Mistakes(Source())
    mistakes.add(("a",), 1, "a table")

    with pytest.raises(ConfigError) as caught:
        mistakes.raise_any()

    assert str(caught.value) == "1 mistake\n  a: found 1, allowed: a table"


def test_a_place_is_named_with_its_line_where_that_is_known() -> None:
    source = Source("f", "\n" * 6 + "[panel.main]")

    assert source.place(("panel", "main", "deck", 2)) == "panel.main.deck#3 in line 7"
    assert source.place(("bus", "drive")) == "bus.drive"


def test_a_key_takes_the_line_of_what_is_around_it() -> None:
    source = Source("f", "\n" * 6 + "[panel.main]")

    assert source.line(("panel", "main", "deck", 2)) == 7
    assert source.line(("bus",)) is None


@pytest.mark.parametrize(
    ("path", "text"), [((), ""), (("a",), "a"), (("a", "b", 0), "a.b#1"), (("a", 1, "c", 2), "a#2.c#3")]
)
def test_a_path_is_written_with_positions_counted_from_one(path: tuple[str | int, ...], text: str) -> None:
    assert key_text(path) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"),
        ("a", "'a'"),
        ({}, "a table"),
        ([1, 2], "a list of 2"),
        (1.5, "1.5"),
        (MISSING, "nothing"),
        ("x" * 99, "'" + "x" * 56 + "..."),
    ],
)
def test_values_are_shown_short(value: object, text: str) -> None:
    assert value_text(value) == text


def test_a_number_too_long_to_write_is_still_told() -> None:
    assert value_text(10**5000) == "a very large number"


def test_the_nearest_spelling_minds_no_capitals_and_nothing_far_away() -> None:
    assert nearest("ENGINE", ["gearbox", "engine"]) == "engine"
    assert nearest("xyz", ["gearbox", "engine"]) == ""
