"""The power tables that the guide prints are those that run."""

from __future__ import annotations

from pathlib import Path

from underdash.power.tables import tables_as_text

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"


def test_the_guide_has_the_tables_that_run() -> None:
    assert tables_as_text().strip() in GUIDE.read_text()
