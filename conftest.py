"""For all tests, those of the plug-ins too."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

# how quick the machine is says nothing about what is tested, and a busy one would fail
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

LONGEST = ("life", "mishaps")
"""Fixtures of `tests/system/` that last longer than anything else; what begins with them ends soonest."""


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Where tests run side by side, file by file: begin with what lasts long."""
    if hasattr(config, "workerinput"):  # a worker of xdist, which all must put them in the same order
        items.sort(key=_turn)


def _turn(item: pytest.Item) -> int:
    for turn, name in enumerate(LONGEST):
        if name in getattr(item, "fixturenames", ()):
            return turn
    return len(LONGEST) + (item.get_closest_marker("slow") is None)
