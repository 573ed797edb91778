"""Plug-ins that failed while running: one that is suspended anywhere is suspended everywhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import structlog

_log = structlog.get_logger()


@dataclass(slots=True)
class Suspensions:
    """Which plug-ins are suspended, and whoever runs code of theirs.

    Attributes:
        reasons: by name.
        takers: called with (name, reason) once; each takes away what it runs of the plug-in. What a plug-in declared
            and nobody runs (signals, frames, requests, alerts) stays: it cannot fail, and more may rest on it.
    """

    reasons: dict[str, str] = field(default_factory=dict)
    takers: list[Callable[[str, str], None]] = field(default_factory=list)

    def add(self, plugin: str, reason: str) -> None:
        """Suspend a plug-in; the first reason counts."""
        if plugin in self.reasons:
            return
        self.reasons[plugin] = reason
        _log.warning("plugin_suspended", plugin=plugin, reason=reason)
        for taker in tuple(self.takers):
            taker(plugin, reason)
