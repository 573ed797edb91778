"""For all tests, those of the plug-ins too."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

# how quick the machine is says nothing about what is tested, and a busy one would fail
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

GUESTS = ("life", "mishaps")
"""Fixtures of `tests/system/` that last longer than anything else and are for several files, the longest first."""


@pytest.hookimpl(tryfirst=True)  # xdist reads the groups in the same hook
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Where tests run side by side: what shares fixtures stays together, and what lasts long comes first."""
    if not getattr(config.option, "loadgroup", False):
        return
    for item in items:
        item.add_marker(pytest.mark.xdist_group(_guest(item) or item.nodeid.partition("::")[0]))
    items.sort(key=_turn)


def _guest(item: pytest.Item) -> str:
    return next((name for name in GUESTS if name in getattr(item, "fixturenames", ())), "")


def _turn(item: pytest.Item) -> int:
    guest = _guest(item)
    if guest:
        return GUESTS.index(guest)
    return len(GUESTS) + (item.get_closest_marker("slow") is None)
