"""For all tests, those of the plug-ins too."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

# how quick the machine is says nothing about what is tested, and a busy one would fail
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")
