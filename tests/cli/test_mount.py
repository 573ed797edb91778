"""``underdash mount``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Typed = Callable[..., Any]


def test_a_template_is_written(typed: Typed, tmp_path: Path) -> None:
    out = tmp_path / "hole.svg"
    done = typed("mount", "--lit", "32.4", "--holes", "3", "--hole-circle", "40", "--out", out)
    assert done.status == 0
    assert "50 mm" in done.out
    assert out.read_text().count("<circle") == 3
    assert typed("mount", "--shape", "square", "--lit", "57.6x43.2", "--out", out).status == 0
    assert 'width="62.6" height="48.2"' in out.read_text()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--lit", "3"], "millimetres from 5 to 400"),
        (["--lit", "wide"], "millimetres from 5 to 400"),
        (["--lit", "nan"], "millimetres from 5 to 400"),
        (["--outline", "20"], "smaller than what lights up"),
        (["--holes", "3"], "--holes needs --hole-circle"),
        (["--holes", "99", "--hole-circle", "40"], "0 to 24"),
        (["--out", "hole.png"], "ending in .svg"),
    ],
)
def test_what_makes_no_sense_is_told(typed: Typed, tmp_path: Path, arguments: list[str], says: str) -> None:
    out = [] if "--out" in arguments else ["--out", tmp_path / "hole.svg"]
    done = typed("mount", *arguments, *out)
    assert done.status == 2
    assert says in done.err
