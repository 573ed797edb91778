"""``underdash plugins``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

Typed = Callable[..., Any]
Changed = Callable[[str, str], Path]


def part(text: str, title: str) -> str:
    """The lines under a title."""
    after = text.split(f"{title}:", 1)[1]
    lines = after.split("\n")[1:]
    return "\n".join(line for line in lines[: next((i for i, x in enumerate(lines) if not x.startswith("  ")), None)])


def test_what_runs_is_listed_with_its_version(typed: Typed) -> None:
    done = typed("plugins")
    assert done.status == 0
    assert all(name in part(done.out, "running") for name in ("boost", "temperatures", "tarn", "loris", "page_turn"))
    assert "refused: none" in done.out


def test_what_is_only_installed_is_told_apart(typed: Typed, config: Path) -> None:
    done = typed("plugins", "--config", config)
    assert done.status == 0
    assert "tarn" in part(done.out, "installed, not enabled")
    assert "tarn" not in part(done.out, "running")


def test_what_was_refused_is_told_with_why_and_what_to_do(typed: Typed, changed: Changed) -> None:
    changed('"boost", ', '"boost", "bost", ')
    done = typed("plugins", "--config", changed("[power]", "[plugin.page_turn]\nhold_s = 0\n\n[power]"))
    assert done.status == 1
    refused = part(done.out, "refused")
    assert "bost" in refused
    assert "did you mean 'boost'" in refused
    assert "page_turn" in refused
    assert "hold_s" in refused


def test_without_its_car_half_of_it_is_still_listed(typed: Typed, changed: Changed) -> None:
    done = typed("plugins", "--config", changed("small.toml", "nosuch.toml"))
    assert "without a car" in done.out
    assert "boost" in part(done.out, "running")
