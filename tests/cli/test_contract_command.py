"""``underdash contract``."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

import underdash
from underdash import testing
from underdash.loading import HOOKS

Typed = Callable[..., Any]


def test_everything_public_is_listed_with_a_line(typed: Typed) -> None:
    done = typed("contract")
    lines = {line.split()[0]: line.split()[1:] for line in done.out.splitlines() if line.startswith("  ")}
    classes = {name for name in underdash.__all__ if isinstance(getattr(underdash, name), type)}
    assert done.status == 0
    assert {*HOOKS, *classes, *(name for name in testing.__all__ if callable(getattr(testing, name)))} <= set(lines)
    assert all(lines.values())


def test_a_hook_comes_with_its_example(typed: Typed) -> None:
    out = typed("contract", "display_pages").out
    assert out.startswith("display_pages(car: CarDescription, settings: Any) -> list[Page]")
    assert "@hookimpl" in out


@pytest.mark.parametrize("name", ["PartKind", "Quality"])
def test_members_are_explained(typed: Typed, name: str) -> None:
    out = typed("contract", name).out
    assert all(f"{name}.{member.name} = {member.value!r}" in out for member in getattr(underdash, name))
    assert {"PartKind": "plus the number of bytes that follow", "Quality": "older than its limit"}[name] in out


def test_a_type_comes_with_its_methods(typed: Typed) -> None:
    out = typed("contract", "Snapshot").out
    assert "reading(self, name: str) -> Reading" in out
    assert "Args" in typed("contract", "Page").out


def test_an_unknown_name_is_met_with_the_nearest(typed: Typed) -> None:
    done = typed("contract", "Pag")
    assert done.status == 2
    assert "did you mean Page?" in done.err


def test_types_are_written_without_quotes_and_defaults_as_they_are(typed: Typed) -> None:
    assert "data: bytes = b''" in typed("contract", "Answer").out
    assert "encode: Callable[[ControlUnit, int], bytes]," in typed("contract", "Protocol").out
